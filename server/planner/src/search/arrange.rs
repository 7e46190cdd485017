//! Has a crew that has units meet one that wants them, or one that can bring them from the yard.

use rand::RngExt;
use rand_xoshiro::Xoshiro256PlusPlus;

use super::class_set::ClassSet;
use super::clock::Clock;
use super::hand_on::{Want, fit, leg_before};
use super::load_out;
use super::meeting::{of, ready_there};
use super::route::{Meet, Route, Visit};
use super::shares::Share;
use super::state::State;
use super::undo::Undo;
use crate::Seconds;
use crate::index::{CrewIx, JobIx, PlaceIx, UnitIx};

/// Of what a way to meet costs, as far as it can be told at once, chance adds such a part at most.
const NOISE: i64 = 4;

/// How an attempt to have two crews meet came out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Attempt {
    /// Not to be had; nothing has changed.
    Nothing,
    /// They meet.
    Meets,
    /// The work is half done and must be undone.
    Broken,
}

/// A place and a position in the taker's day, and what going there costs both.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Way {
    cost: i64,
    position: usize,
    place: PlaceIx,
    at: Seconds,
}

/// Has the crew that has the units meet the one that wants them. Stops that either can no longer do are added to `jobs`.
pub(super) fn meet(
    want: &Want,
    state: &mut State,
    undo: &mut Undo,
    jobs: &mut Vec<JobIx>,
    rng: &mut Xoshiro256PlusPlus,
) -> Attempt {
    let Some((giver, units)) = want.of_one_giver() else {
        return Attempt::Nothing;
    };
    let taker = want.taker;
    let Some(seconds) = handing_over(state, [giver, taker]) else {
        return Attempt::Nothing;
    };
    let mut route = state.routes[giver].clone();
    let mut gone = Vec::new();
    for &unit in &units {
        if state.holder(giver, unit).is_none() && !load(state, &mut route, giver, unit) {
            return Attempt::Nothing;
        }
    }
    let Some(position) = part_after(state, want, &mut route, giver, &units, &mut gone, rng) else {
        return Attempt::Nothing;
    };
    let side = Side {
        clock: &state.clock(giver),
        route: &route,
        position,
    };
    let Some(way) = best_way(state, &side, want, seconds, rng) else {
        return Attempt::Nothing;
    };
    let meet = Meet {
        crew: CrewIx::from_ix(giver.min(taker)),
        place: way.place,
        at: way.at,
        seconds,
    };
    let day = state.model.crews[giver].day;
    for &unit in &units {
        let share = Share {
            day,
            unit,
            at: meet.at,
            meet: Some(meet),
        };
        state.begin_share(0, share);
    }
    let leg = route.insert_meeting(position, taker, meet);
    let legs = leg..route.legs.len();
    let fits = fit(
        state,
        giver,
        &mut route,
        legs,
        &ClassSet::EMPTY,
        &mut gone,
        position + 1,
    )
    .filter(|()| {
        units
            .iter()
            .all(|unit| route.legs[leg - 1].units.contains(unit))
    });
    if fits.is_none() {
        for _ in &units {
            state.end_share(0);
        }
        return Attempt::Nothing;
    }
    for crew in [giver, taker] {
        undo.save(state, crew);
    }
    let mut classes = ClassSet::EMPTY;
    for unit in &units {
        classes.insert(load_out::class_of(state.model, *unit));
    }
    state.let_go(&gone, jobs);
    state.put(giver, &route);

    let mut route = state.routes[taker].clone();
    let mut gone = Vec::new();
    let leg = route.insert_meeting(way.position, giver, meet);
    let legs = leg..route.legs.len();
    let fits = fit(
        state,
        taker,
        &mut route,
        legs,
        &classes,
        &mut gone,
        way.position + 1,
    );
    if fits.is_none() {
        return Attempt::Broken;
    }
    state.let_go(&gone, jobs);
    state.put(taker, &route);
    Attempt::Meets
}

/// Loads a unit that nobody has in the morning. Returns whether there is room for it all day.
fn load(state: &State, route: &mut Route, crew: usize, unit: UnitIx) -> bool {
    let (class, space) = (
        load_out::class_of(state.model, unit),
        u64::from(state.model.crew(crew).load_space),
    );
    route.legs.iter_mut().all(|leg| {
        if leg.set.has(class) {
            return false;
        }
        leg.set.insert(class);
        leg.units.push(unit);
        leg.units.sort_unstable();
        state.model.space(&leg.units) <= space
    })
}

/// How long handing over takes the two, if both may meet once more.
fn handing_over(state: &State, crews: [usize; 2]) -> Option<Seconds> {
    let mut longest = 0;
    for crew in crews {
        let (route, team) = (&state.routes[crew], state.model.crew(crew));
        if route.calls.len() >= usize::from(team.calls_max) || of(route).is_some() {
            return None;
        }
        longest = longest.max(team.handing_over()?);
    }
    Some(longest)
}

/// Draws after which of its visits the crew parts with the units, and takes out later stops that are done with them.
/// Returns the position of the meeting, with the day evaluated as it is then without it.
fn part_after(
    state: &State,
    want: &Want,
    route: &mut Route,
    giver: usize,
    units: &[UnitIx],
    gone: &mut Vec<JobIx>,
    rng: &mut Xoshiro256PlusPlus,
) -> Option<usize> {
    let count = route.visits.len();
    let last = (0..count).rev().find(|at| want.used_at(state, route, *at));
    let position = match last {
        Some(last) if rng.random_range(0..2) == 0 => last + 1,
        _ => rng.random_range(0..=count),
    };
    let leg = leg_before(route, position);
    if !units
        .iter()
        .all(|unit| route.legs[leg].units.contains(unit))
    {
        return None;
    }
    for at in (position..count).rev() {
        if want.used_at(state, route, at)
            && let Visit::Job(job) = route.remove(at)
        {
            gone.push(job);
        }
    }
    route.serve(state.model, giver).ok()?;
    route.evaluate(&state.clock(giver)).ok()?;
    Some(position)
}

/// One of the two, and the position in its day at which it would meet the other.
struct Side<'s> {
    clock: &'s Clock<'s>,
    route: &'s Route,
    position: usize,
}

/// Where and when the two meet at the least cost, as far as that can be told without a look at what follows: the taker
/// does the wanted job next.
fn best_way(
    state: &State,
    giver: &Side,
    want: &Want,
    seconds: Seconds,
    rng: &mut Xoshiro256PlusPlus,
) -> Option<Way> {
    let (clock, route) = (&state.clock(want.taker), &state.routes[want.taker]);
    let open = &state.model.open_jobs;
    let mut best: Option<Way> = None;
    for position in 0..=route.visits.len() {
        let taker = Side {
            clock,
            route,
            position,
        };
        let any = open[rng.random_range(0..open.len())];
        let places = [
            giver.before(),
            giver.after(),
            taker.before(),
            taker.after(),
            state.model.times[want.job.ix()].place,
            state.model.times[any.ix()].place,
        ];
        for place in places {
            let Some((at, cost)) = come_together(giver, &taker, want.job, place, seconds) else {
                continue;
            };
            // It is no more than a guess: what seems little dearer may be cheaper.
            let cost = cost + rng.random_range(0..=cost.max(0) / NOISE);
            let way = Way {
                cost,
                position,
                place,
                at,
            };
            if best.is_none_or(|best| way < best) {
                best = Some(way);
            }
        }
    }
    best
}

/// When the two could begin at a place, and what the detours and waits cost; none if one comes too late to what follows.
fn come_together(
    giver: &Side,
    taker: &Side,
    job: JobIx,
    place: PlaceIx,
    seconds: Seconds,
) -> Option<(Seconds, i64)> {
    let ready = [giver.ready_at(place)?, taker.ready_at(place)?];
    let at = ready[0].max(ready[1]);
    let parted = at + seconds;
    let travel = taker.clock.model.problem.travel();
    let onward = travel.table_seconds(place, giver.after());
    let givers = giver.goes_on(parted + travel.least_of(onward), &[place])?;

    let times = &taker.clock.model.times[job.ix()];
    let work = taker.clock.model.quickest(job, taker.clock.crew_ix).work;
    let to_job = travel.table_seconds(place, times.place);
    let there = parted + travel.least_of(to_job);
    let start = times.earliest_start(there, work);
    let onward = travel.table_seconds(times.place, taker.after());
    let next = start + work + travel.least_of(onward);
    let takers = taker.goes_on(next, &[place, times.place])?;
    let waits = [
        (giver, at - ready[0]),
        (taker, at - ready[1] + start - there),
    ];
    let waits = waits.map(|(side, wait)| side.clock.data.idle_rate * wait);
    let price = taker.clock.least_price(job, start, start + work);
    Some((at, givers + takers + waits[0] + waits[1] + price))
}

impl Side<'_> {
    fn before(&self) -> PlaceIx {
        self.route.place_before(self.clock, self.position)
    }

    fn after(&self) -> PlaceIx {
        self.route.place(self.clock, self.position)
    }

    /// When it could begin at a place.
    fn ready_at(&self, place: PlaceIx) -> Option<Seconds> {
        let step = self.route.steps[self.position];
        ready_there(self.clock, step, self.before(), place)
    }

    /// What the detour over some places costs that gets to the next visit at an instant, if that is in time.
    fn goes_on(&self, next: Seconds, over: &[PlaceIx]) -> Option<i64> {
        if next > self.route.latest[self.position] {
            return None;
        }
        let travel = self.clock.model.problem.travel();
        let hop = |from, to| {
            let (seconds, metres) = (travel.table_seconds(from, to), travel.metres(from, to));
            self.clock.hop(seconds, metres).cost
        };
        let (mut cost, mut from) = (-self.route.hops[self.position].cost, self.before());
        for to in over.iter().copied().chain([self.after()]) {
            cost += hop(from, to);
            from = to;
        }
        Some(cost)
    }
}
