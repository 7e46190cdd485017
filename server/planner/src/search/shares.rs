//! Units that one crew uses after another on the same day.
//!
//! A shared unit counts as two halves: one until the instant at which it changes hands, one from that instant on. Each
//! half is a unit of its own that is available only then, at the unit's yard. The instant is part of the plan: the crew
//! with the first half must have put it down by then, the other may not take it before. So each crew's day is reckoned by
//! itself, nobody waits for anybody whose day is not settled, and waits cannot go in circles.

use rand::RngExt;
use rand_xoshiro::Xoshiro256PlusPlus;

use super::clock::{Clock, Times, no_log};
use super::load_out;
use super::meeting;
use super::route::{Meet, Route};
use super::scope::Scope;
use super::state::State;
use super::undo::Undo;
use crate::Seconds;
use crate::index::UnitIx;

/// One in so many iterations moves the instant of a hand-over to and fro where nobody waits for it.
const SHIFT: u32 = 8;

/// A unit that changes hands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Share {
    pub(crate) day: usize,
    /// The unit, which is also the number of its first half.
    pub(crate) unit: UnitIx,
    /// When it changes hands.
    pub(crate) at: Seconds,
    /// Where the two crews meet for it; none where one puts it down at its yard and the other takes it there.
    pub(crate) meet: Option<Meet>,
}

impl Share {
    /// When the first crew must have put it down.
    pub(crate) fn put_down_by(&self) -> Seconds {
        self.meet.map_or(self.at, |meet| meet.over())
    }
}

/// When the crew puts the unit down for the last time.
pub(super) fn put_down_at(route: &Route, unit: UnitIx) -> Option<Seconds> {
    let leg = route
        .legs
        .iter()
        .rposition(|leg| leg.units.contains(&unit))?;
    match route.calls.at(leg) {
        Some(call) => Some(route.steps[call + 1].at),
        None => Some(route.end.at),
    }
}

/// When the crew takes the unit for the first time.
fn taken_at(clock: &Clock, route: &Route, unit: UnitIx) -> Option<Seconds> {
    let leg = route
        .legs
        .iter()
        .position(|leg| leg.units.contains(&unit))?;
    match leg {
        0 => Some(clock.data.ready_at),
        _ => Some(call_times(clock, route, route.calls.at(leg - 1)?)?.start),
    }
}

/// Times of the call at a position.
pub(super) fn call_times(clock: &Clock, route: &Route, position: usize) -> Option<Times> {
    if !route.visits[position].is_call() {
        return None;
    }
    let mut step = route.steps[position];
    let from = route.place_before(clock, position);
    clock
        .drive(&mut step, from, route.place(clock, position), &mut no_log)
        .ok()?;
    let terms = route.terms(clock, position);
    clock
        .call(&mut step, terms.work, terms.from, &mut no_log)
        .ok()
}

/// Brings hand-overs up to date with what the crews of the scope do now: units that only one of two still uses are whole
/// again, and nobody waits longer than need be. Returns whether all that meet still can.
pub(crate) fn settle(
    state: &mut State,
    scope: &Scope,
    undo: &mut Undo,
    scratch: &mut Option<Route>,
    rng: &mut Xoshiro256PlusPlus,
) -> bool {
    let (mut next, mut sound) = (0, true);
    while let Some(&share) = state.shares.get(next) {
        if share.meet.is_some() {
            sound &= meeting::refresh(state, scope, share, undo, scratch);
            // It is gone, or has another instant.
            let still = |now: &Share| (now.day, now.unit) == (share.day, share.unit);
            next += usize::from(state.shares.get(next).is_some_and(still));
            continue;
        }
        let crews =
            [0, 1].map(|half| state.holder_of(share.day, state.model.half(share.unit, half)));
        let mine = crews
            .iter()
            .all(|crew| crew.is_none_or(|crew| crew < state.routes.len() && scope.has(crew)));
        let ended = mine
            && match crews {
                [None, None] => {
                    state.end_share(next);
                    true
                }
                [Some(first), None] => {
                    undo.save(state, first);
                    make_whole(state, next, first, 0, scratch)
                }
                [None, Some(second)] => {
                    undo.save(state, second);
                    make_whole(state, next, second, 1, scratch)
                }
                [Some(first), Some(second)] => {
                    tighten(state, next, [first, second], undo, scratch, rng);
                    false
                }
            };
        if !ended {
            next += 1;
        }
    }
    sound
}

/// The only crew that still has half of the unit gets all of it.
fn make_whole(
    state: &mut State,
    share: usize,
    crew: usize,
    half: usize,
    scratch: &mut Option<Route>,
) -> bool {
    let was = state.shares[share];
    let route = state.routes[crew].copied_to(scratch);
    let name = state.model.half(was.unit, half);
    for unit in route.legs.iter_mut().flat_map(|leg| &mut leg.units) {
        if *unit == name {
            *unit = was.unit;
        }
    }
    for leg in &mut route.legs {
        leg.units.sort_unstable();
    }
    state.release(crew);
    state.end_share(share);
    let fine =
        load_out::redue(state, crew, &mut route.legs) && route.evaluate(&state.clock(crew)).is_ok();
    if fine {
        state.take_over(crew, route);
    } else {
        // A break may have come to lie badly without the wait.
        state.begin_share(share, was);
        state.hold(crew);
    }
    fine
}

/// The taker goes as soon as the giver has put the unit down, if that is no worse. Where nobody waits, the instant may lie
/// anywhere between.
fn tighten(
    state: &mut State,
    share: usize,
    crews: [usize; 2],
    undo: &mut Undo,
    scratch: &mut Option<Route>,
    rng: &mut Xoshiro256PlusPlus,
) {
    let Share { unit, at, .. } = state.shares[share];
    let [first, second] = crews;
    let clock = state.clock(second);
    let put_down = put_down_at(&state.routes[first], unit);
    let taken = taken_at(&clock, &state.routes[second], state.model.half(unit, 1));
    let (Some(put_down), Some(taken)) = (put_down, taken) else {
        return;
    };
    let to = if taken == at && put_down < at {
        put_down
    } else if put_down < taken && rng.random_range(0..SHIFT) == 0 {
        rng.random_range(put_down..=taken)
    } else {
        return;
    };
    for crew in crews {
        undo.save(state, crew);
    }
    state.shares[share].at = to;
    let no_dearer = |was: &Route, is: &Route| is.cost <= was.cost;
    if !reckon_anew(state, crews, scratch, |_| {}, no_dearer) {
        state.shares[share].at = at;
    }
}

/// Reckons the days of two crews anew, with a change to each, after an instant at which both do something has moved. Returns
/// whether both are possible, and as they should be against what they were; if not, both are as they were.
pub(super) fn reckon_anew(
    state: &mut State,
    crews: [usize; 2],
    scratch: &mut Option<Route>,
    change: impl Fn(&mut Route),
    fine: impl Fn(&Route, &Route) -> bool,
) -> bool {
    let mut done: Vec<(usize, Route)> = Vec::new();
    for crew in crews {
        let route = state.routes[crew].copied_to(scratch);
        change(route);
        let possible = load_out::redue(state, crew, &mut route.legs)
            && route.evaluate(&state.clock(crew)).is_ok();
        if !(possible && fine(&state.routes[crew], route)) {
            for (crew, route) in done {
                state.put(crew, &route);
            }
            return false;
        }
        done.push((crew, state.routes[crew].clone()));
        state.put(crew, route);
    }
    true
}
