//! Two crews meet in the course of their days, and one hands units over to the other.
//!
//! The instant is part of the plan, as with units that change hands at a yard: both crews begin then, and each day is
//! reckoned by itself. Each of the two has its like in the other's day; a change that breaks that is taken back.

use rand::RngExt;
use rand_xoshiro::Xoshiro256PlusPlus;

use super::clock::{AT_ONCE, Clock, Step, no_log};
use super::load_out;
use super::removal::settle;
use super::route::{Meet, Route};
use super::scope::Scope;
use super::shares::{Share, reckon_anew};
use super::state::State;
use super::undo::Undo;
use crate::Seconds;
use crate::index::{PlaceIx, UnitIx};

/// One in so many iterations begins by putting meetings off.
const PUT_OFF: u32 = 4;

/// Whether some crews meet.
pub(super) fn any(state: &State) -> bool {
    state.shares.iter().any(|share| share.meet.is_some())
}

/// Whom a crew meets in its day, and where and when.
pub(super) fn of(route: &Route) -> Option<(usize, Meet)> {
    route.legs.iter().find_map(|leg| leg.meets)
}

/// Which leg of the crew's day begins with a meeting: there is at most one.
fn meeting_leg(route: &Route) -> Option<usize> {
    route.legs.iter().position(|leg| leg.meets.is_some())
}

/// Whether a crew whose day has been changed still gives and takes the same where it meets another.
pub(super) fn stays(before: &Route, after: &Route) -> bool {
    let Some(was) = meeting_leg(before) else {
        return true;
    };
    meeting_leg(after).is_some_and(|is| {
        apart(before, was - 1, was).eq(apart(after, is - 1, is))
            && apart(before, was, was - 1).eq(apart(after, is, is - 1))
    })
}

/// Whether each crew that meets another is met by it in the same way. `met_before` tells whether any met before a change.
pub(super) fn sound(state: &State, met_before: bool) -> bool {
    !(met_before || any(state)) || broken(state).is_none()
}

/// The first crew that meets another which does not meet it in the same way.
pub(super) fn broken(state: &State) -> Option<usize> {
    (0..state.routes.len()).find(|crew| !is_mirrored(state, *crew))
}

fn is_mirrored(state: &State, crew: usize) -> bool {
    let route = &state.routes[crew];
    let Some(leg) = meeting_leg(route) else {
        return true;
    };
    let Some((with, meet)) = of(route) else {
        return true;
    };
    let Some(other) = state.routes.get(with) else {
        // Who is not in the problem is there.
        return true;
    };
    let there = meeting_leg(other);
    there.is_some_and(|there| {
        other.legs[there].meets == Some((crew, meet))
            && exchange(state, route, leg, other, there)
            && exchange(state, other, there, route, leg)
            && route.legs[leg].units != route.legs[leg - 1].units
    })
}

/// Whether the one takes what the other gives.
fn exchange(state: &State, giver: &Route, from: usize, taker: &Route, to: usize) -> bool {
    let model = state.model;
    let gone = apart(giver, from - 1, from);
    let come = apart(taker, to, to - 1);
    gone.map(|unit| model.half(unit, 1)).eq(come)
}

/// Units of one leg that are not in another.
fn apart(route: &Route, leg: usize, from: usize) -> impl Iterator<Item = UnitIx> {
    let others = &route.legs[from].units;
    let units = route.legs[leg].units.iter().copied();
    units.filter(|unit| !others.contains(unit))
}

/// Brings the meeting of a share up to date. Returns whether it is as it should be: as early as both can, or gone if it
/// has lost its use.
pub(super) fn refresh(
    state: &mut State,
    scope: &Scope,
    share: Share,
    undo: &mut Undo,
    scratch: &mut Option<Route>,
) -> bool {
    let Some(meet) = share.meet else { return true };
    let crews = who_meets(state, meet);
    let is_known =
        |crew: &usize| of(&state.routes[*crew]).is_none_or(|(with, _)| with < state.routes.len());
    if !crews.iter().flatten().all(is_known) {
        return true;
    }
    let halves = [0, 1].map(|half| state.model.half(share.unit, half));
    let holders = halves.map(|half| state.holder_of(share.day, half));
    let known = holders.iter().chain(&crews).flatten();
    if !known
        .clone()
        .all(|crew| *crew < state.routes.len() && scope.has(*crew))
    {
        // Another part of the plan's.
        return true;
    }
    if let ([Some(first), Some(second)], [Some(_), Some(_)]) = (holders, crews)
        && uses(state, second, halves[1])
    {
        return match both_ready(state, [first, second]) {
            Some(at) if at < meet.at => move_to(state, meet, at, [first, second], undo, scratch),
            ready => ready.is_some(),
        };
    }
    dissolve(state, share.day, meet, crews, undo)
}

/// The two crews that meet there, as far as they do.
fn who_meets(state: &State, meet: Meet) -> [Option<usize>; 2] {
    let mut crews = (0..state.routes.len()).filter(|crew| is_at(&state.routes[*crew], meet));
    [crews.next(), crews.next()]
}

fn is_at(route: &Route, meet: Meet) -> bool {
    of(route).is_some_and(|(_, other)| other == meet)
}

/// Whether a stop of the crew is done with the unit.
fn uses(state: &State, crew: usize, unit: UnitIx) -> bool {
    let (route, class) = (&state.routes[crew], load_out::class_of(state.model, unit));
    (0..route.visits.len()).any(|position| {
        route.services[position].uses.has(class)
            && route.legs[route.leg_at(position)].units.contains(&unit)
    })
}

/// The crews go on without meeting: each keeps what it has. Returns whether that is possible; if not, nothing has changed.
fn dissolve(
    state: &mut State,
    day: usize,
    meet: Meet,
    crews: [Option<usize>; 2],
    undo: &mut Undo,
) -> bool {
    let shares = state.shares.clone();
    let (crews, was) = end(state, day, meet, crews.into_iter().flatten().collect());
    let is_second = |unit: &UnitIx| {
        let mut seconds = was.iter().map(|share| state.model.half(share.unit, 1));
        seconds.any(|second| second == *unit)
    };
    let mut before = Vec::new();
    for &crew in &crews {
        undo.save(state, crew);
        before.push(state.routes[crew].clone());
        for leg in &mut state.routes[crew].legs {
            leg.units.retain(|unit| !is_second(unit));
        }
        // Before any of them may look for other units.
        state.hold(crew);
    }
    let fine = crews.iter().all(|crew| goes_alone(state, *crew, meet));
    if !fine {
        for crew in &crews {
            state.release(*crew);
        }
        // In their order too: whoever goes through them would not come to an end.
        state.restore_shares(&shares);
        for (crew, route) in crews.iter().zip(&mut before) {
            state.restore(*crew, route);
            state.hold(*crew);
        }
    }
    fine
}

/// The crew goes on without the meeting with what it still has. Returns whether it can.
fn goes_alone(state: &mut State, crew: usize, meet: Meet) -> bool {
    let mut route = state.routes[crew].clone();
    if is_at(&route, meet)
        && let Some(leg) = meeting_leg(&route)
    {
        route.remove_call(leg);
    }
    // What was to be given away may stay out longer.
    let possible = load_out::redue(state, crew, &mut route.legs) && settle(state, crew, &mut route);
    if possible {
        state.put(crew, &route);
    }
    possible
}

/// Ends what is handed over at a meeting. Returns whoever has to do with it, those given among them, who have nothing any
/// more so far, and what was handed over.
pub(super) fn end(
    state: &mut State,
    day: usize,
    meet: Meet,
    mut crews: Vec<usize>,
) -> (Vec<usize>, Vec<Share>) {
    let ends = |share: &Share| share.day == day && share.meet == Some(meet);
    let ended: Vec<Share> = state.shares.iter().copied().filter(ends).collect();
    for share in &ended {
        for half in [0, 1] {
            crews.extend(state.holder_of(day, state.model.half(share.unit, half)));
        }
    }
    crews.sort_unstable();
    crews.dedup();
    for &crew in &crews {
        state.release(crew);
    }
    for index in (0..state.shares.len()).rev() {
        if ends(&state.shares[index]) {
            state.end_share(index);
        }
    }
    (crews, ended)
}

/// Now and then puts meetings off as long as what follows them allows, so that there is room before them: in the end
/// they are as early as both can again.
pub(super) fn put_off(
    state: &mut State,
    scope: &Scope,
    undo: &mut Undo,
    scratch: &mut Option<Route>,
    rng: &mut Xoshiro256PlusPlus,
) {
    if rng.random_range(0..PUT_OFF) > 0 {
        return;
    }
    for crew in 0..state.routes.len() {
        let Some((with, meet)) = of(&state.routes[crew]) else {
            continue;
        };
        if crew < with
            && with < state.routes.len()
            && scope.has(crew)
            && scope.has(with)
            && let Some(room @ 1..) = room_after(state, meet, [crew, with])
        {
            let at = meet.at + rng.random_range(1..=room);
            move_to(state, meet, at, [crew, with], undo, scratch);
        }
    }
}

/// Has the two meet at another instant. Returns whether they can; if not, nothing has changed.
fn move_to(
    state: &mut State,
    meet: Meet,
    at: Seconds,
    crews: [usize; 2],
    undo: &mut Undo,
    scratch: &mut Option<Route>,
) -> bool {
    for crew in crews {
        undo.save(state, crew);
    }
    let moved = Meet { at, ..meet };
    set_meeting(state, meet, moved);
    let change = |route: &mut Route| {
        for leg in &mut route.legs {
            if let Some((_, there)) = &mut leg.meets {
                *there = moved;
            }
        }
    };
    let done = reckon_anew(state, crews, scratch, change, |_, _| true);
    if !done {
        set_meeting(state, moved, meet);
    }
    done
}

/// Puts the meeting's shares to another instant.
fn set_meeting(state: &mut State, from: Meet, to: Meet) {
    for share in &mut state.shares {
        if share.meet == Some(from) {
            share.meet = Some(to);
            share.at = to.at;
        }
    }
}

/// Where in the crew's day its meeting is.
fn meeting_at(route: &Route) -> Option<usize> {
    let leg = meeting_leg(route)?;
    route.calls.at(leg.checked_sub(1)?)
}

/// The instant from which both could begin.
fn both_ready(state: &State, crews: [usize; 2]) -> Option<Seconds> {
    let mut ready = AT_ONCE;
    for crew in crews {
        let (clock, route) = (state.clock(crew), &state.routes[crew]);
        let position = meeting_at(route)?;
        let (step, from) = (route.steps[position], route.place_before(&clock, position));
        ready = ready.max(ready_there(
            &clock,
            step,
            from,
            route.place(&clock, position),
        )?);
    }
    Some(ready)
}

/// When a crew at a step and place could begin at another place, its breaks taken.
pub(super) fn ready_there(
    clock: &Clock,
    mut step: Step,
    from: PlaceIx,
    to: PlaceIx,
) -> Option<Seconds> {
    clock.drive(&mut step, from, to, &mut no_log).ok()?;
    let called = clock.call(&mut step, 0, AT_ONCE, &mut no_log).ok()?;
    Some(called.start)
}

/// How much later the meeting could be, as far as what follows it goes.
fn room_after(state: &State, meet: Meet, crews: [usize; 2]) -> Option<Seconds> {
    let travel = state.model.problem.travel();
    let mut room = Seconds::MAX;
    for crew in crews {
        let route = &state.routes[crew];
        let next = meeting_at(route)? + 1;
        let drive = travel.least_of(route.hops[next].seconds);
        room = room.min(route.latest[next] - drive - meet.over());
    }
    Some(room)
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng;

    use super::*;
    use crate::Cancel;
    use crate::search::load::load;
    use crate::search::model::Model;
    use crate::search::removal::remove;
    use crate::search::shares;
    use crate::support::two_meetings::{TAKERS, day, job_with_it, planned};

    /// Takes both takers' jobs out that they do with what they are handed, and settles what changes hands. Returns whether
    /// all that meet still can.
    fn both_lose_their_use(state: &mut State) -> bool {
        let (scope, mut scratch) = (Scope::whole(state), None);
        let mut undo = Undo::default();
        undo.begin(state);
        for taker in TAKERS {
            undo.save(state, taker);
            remove(state, taker, &mut vec![job_with_it(taker)], &mut scratch);
        }
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(0);
        shares::settle(state, &scope, &mut undo, &mut scratch, &mut rng)
    }

    /// Givers with room for one unit need the meeting, or they could not fetch the next one. Two such meetings are looked at
    /// once each, and are as they were.
    #[test]
    fn two_meetings_that_cannot_end_are_given_up() {
        let (problem, plan) = planned(day(1));
        let model = Model::new(&problem, &Cancel::new());
        let mut state = State::new(&model);
        load(&mut state, &plan);
        assert_eq!(state.shares.len(), 2);
        let before = state.shares.clone();
        assert!(!both_lose_their_use(&mut state));
        assert_eq!(state.shares, before);
    }

    /// Two pairs that meet at the same place and instant are told apart.
    #[test]
    fn pairs_may_meet_side_by_side() {
        let mut parts = day(2);
        let [one, other] = TAKERS.map(|taker| job_with_it(taker).ix());
        parts.jobs[other].place = parts.jobs[one].place;
        let (problem, plan) = planned(parts);
        let model = Model::new(&problem, &Cancel::new());
        let mut state = State::new(&model);
        load(&mut state, &plan);
        let met = TAKERS.map(|taker| of(&state.routes[taker]).map(|(_, meet)| meet.at));
        assert!(met[0].is_some() && met[0] == met[1]);
        state.assert_consistent();
        assert!(both_lose_their_use(&mut state));
        assert!(state.shares.is_empty() && sound(&state, true));
    }

    /// With room for both, the givers keep what nobody wants from them.
    #[test]
    fn two_meetings_without_use_end() {
        let (problem, plan) = planned(day(2));
        let model = Model::new(&problem, &Cancel::new());
        let mut state = State::new(&model);
        load(&mut state, &plan);
        assert_eq!(state.shares.len(), 2);
        assert!(both_lose_their_use(&mut state));
        assert!(state.shares.is_empty() && sound(&state, true));
    }
}
