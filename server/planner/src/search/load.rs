//! From an outward plan to the search's own: the warm start.

use rand::SeedableRng;
use rand_xoshiro::Xoshiro256PlusPlus;

use super::class_set::ClassSet;
use super::load_meetings::{Ahead, meet_again, meetings_ahead};
use super::load_out::{Swap, class_of, is_idle_freight, redue, refit};
use super::meeting;
use super::removal::settle;
use super::route::{Leg, Route, Visit as Inner};
use super::scope::Scope;
use super::shares::{self, Share};
use super::state::{Spot, State};
use super::undo::Undo;
use crate::Seconds;
use crate::index::{JobIx, PlaceIx, UnitIx};
use crate::plan::{CrewPlan, Plan, Visit};
use crate::problem::Progress;

/// Takes over as much of the plan as is still possible. Jobs that cannot stay where they were go to the bank; references
/// to what the problem does not have are passed over.
pub(crate) fn load(state: &mut State, plan: &Plan) {
    let ahead = meetings_ahead(state, plan);
    let plan = &hand_over_again(state, plan, &ahead);
    let (model, mut stuck) = (state.model, Vec::new());
    // Nobody takes a unit that the plan gives to somebody else.
    let halves = 2 * state.model.problem.units().len();
    for (crew, day) in plan.crews.iter().enumerate().take(state.routes.len()) {
        for unit in units_of(day).filter(|unit| unit.ix() < halves) {
            state.reserve(crew, unit);
        }
    }
    for (crew, day) in plan.crews.iter().enumerate().take(state.routes.len()) {
        if let Some(route) = load_crew(state, crew, day, ahead[crew].as_ref()) {
            state.put(crew, &route);
            state.note_jobs(crew);
        } else if model.crews[crew].under_way {
            stuck.push(crew);
        }
    }
    state.hold_again();
    for crew in stuck {
        keep_whole(state, crew);
    }
    while let Some(crew) = meeting::broken(state) {
        part_company(state, crew);
    }
    state.hold_again();
    let (bank, planned): (Vec<JobIx>, Vec<JobIx>) = state
        .model
        .open_jobs
        .iter()
        .partition(|job| state.route_of[job.ix()].is_none());
    for job in planned {
        state.cost -= state.model.penalties[job.ix()];
    }
    state.bank = bank;
    if !state.shares.is_empty() {
        // What one of two crews no longer has is the other's alone.
        let (mut undo, mut scratch) = (Undo::default(), None);
        let scope = Scope::whole(state);
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(0);
        undo.begin(state);
        let before = state.cost;
        if !shares::settle(state, &scope, &mut undo, &mut scratch, &mut rng) {
            undo.restore(state, before);
        }
    }
}

/// From when until when which crew has a unit.
type Stretch = (Seconds, Seconds, usize);

/// Notes which units two crews of the plan have one after the other. Returns the plan with the second halves by their
/// numbers.
fn hand_over_again(state: &mut State, plan: &Plan, ahead: &[Option<Ahead>]) -> Plan {
    let mut plan = plan.clone();
    let (model, units) = (state.model, state.model.problem.units().len());
    // Beyond what the search's numbers could be mistaken for.
    for unit in plan.crews.iter_mut().flat_map(loaded_mut) {
        if unit.ix() >= units {
            *unit = UnitIx::from_ix(2 * units);
        }
    }
    meet_again(state, &mut plan, ahead);
    if !model.problem.shares_units() {
        return plan;
    }
    let mut found: Vec<(usize, UnitIx, [Stretch; 2])> = Vec::new();
    for unit in (0..units).map(UnitIx::from_ix) {
        for day in 0..model.days {
            let of_day = |share: &Share| (share.day, share.unit) == (day, unit);
            if state.shares.iter().any(of_day) {
                continue;
            }
            let crews = plan.crews.iter().enumerate().take(state.routes.len());
            let mut holds: Vec<Stretch> = crews
                .filter(|(crew, _)| model.crews[*crew].day == day)
                .filter_map(|(crew, has)| {
                    let (from, to) = held(state, crew, has, unit)?;
                    Some((from, to, crew))
                })
                .collect();
            holds.sort_unstable();
            if let [first, second, ..] = holds[..]
                && first.1 <= second.0
            {
                found.push((day, unit, [first, second]));
            }
        }
    }
    for (day, unit, [first, second]) in found {
        let share = Share {
            day,
            unit,
            at: first.1,
            meet: None,
        };
        state.begin_share(0, share);
        for loaded in loaded_mut(&mut plan.crews[second.2]) {
            if *loaded == unit {
                *loaded = model.half(unit, 1);
            }
        }
    }
    plan
}

/// A crew that is out and cannot put down what the plan has another crew take: that crew starts from nothing.
fn keep_whole(state: &mut State, crew: usize) {
    for index in (0..state.shares.len()).rev() {
        let share = state.shares[index];
        if state.holder_of(share.day, share.unit) != Some(crew) {
            continue;
        }
        let second = state.model.half(share.unit, 1);
        if let Some(taker) = state.holder_of(share.day, second) {
            start_anew(state, taker);
        }
        state.end_share(index);
    }
}

/// A crew that is not met as it should be, and whoever else has to do with that meeting, start from nothing.
fn part_company(state: &mut State, crew: usize) {
    let Some((_, meet)) = meeting::of(&state.routes[crew]) else {
        return;
    };
    let (crews, _) = meeting::end(state, state.model.crews[crew].day, meet, vec![crew]);
    for crew in crews {
        start_anew(state, crew);
    }
}

/// Takes everything out of the crew's day.
fn start_anew(state: &mut State, crew: usize) {
    let clock = state.clock(crew);
    let mut empty = state.routes[crew].clone();
    empty.retain(|_| false);
    empty.legs.truncate(1);
    if !state.model.crews[crew].under_way {
        empty.legs = vec![Leg::empty()];
    }
    let possible = redue(state, crew, &mut empty.legs) && empty.evaluate(&clock).is_ok();
    debug_assert!(possible, "a day without stops is always possible");
    state.forget_jobs(crew);
    state.put(crew, &empty);
}

/// From when until when a crew of the plan has a unit, in the part still to come.
fn held(state: &State, crew: usize, day: &CrewPlan, unit: UnitIx) -> Option<(Seconds, Seconds)> {
    let data = &state.model.crews[crew];
    let aboard = match &state.model.crew(crew).progress {
        Progress::NotStarted => day.load_out.contains(&unit),
        Progress::UnderWay(way) => way.aboard.contains(&unit),
    };
    let mut from = aboard.then_some(data.ready_at);
    let mut to = None;
    let calls = day.stops.iter().filter(|stop| !stop.frozen);
    for stop in calls.filter(|stop| !data.under_way || stop.start >= data.ready_at) {
        let (unload, load) = match &stop.visit {
            Visit::Yard { unload, load } => (unload, load),
            Visit::Meet { give, take, .. } => (give, take),
            Visit::Job { .. } => continue,
        };
        if unload.contains(&unit) {
            to = Some(stop.finish);
        }
        if load.contains(&unit) {
            from = from.or(Some(stop.start));
            to = None;
        }
    }
    Some((from?, to.unwrap_or(day.back_at)))
}

/// Units as the crew loads, puts down and takes them.
pub(super) fn loaded_mut(day: &mut CrewPlan) -> impl Iterator<Item = &mut UnitIx> {
    let at_yards = day
        .stops
        .iter_mut()
        .filter_map(|stop| match &mut stop.visit {
            Visit::Yard { load, unload } => Some(load.iter_mut().chain(unload)),
            Visit::Meet { take, give, .. } => Some(take.iter_mut().chain(give)),
            Visit::Job { .. } => None,
        });
    day.load_out.iter_mut().chain(at_yards.flatten())
}

/// Units the crew has at some time of its day.
pub(crate) fn units_of(day: &CrewPlan) -> impl Iterator<Item = UnitIx> {
    let loaded = day.stops.iter().filter_map(|stop| match &stop.visit {
        Visit::Yard { load, .. } | Visit::Meet { take: load, .. } => Some(load),
        Visit::Job { .. } => None,
    });
    day.load_out.iter().chain(loaded.flatten()).copied()
}

fn load_crew(state: &State, crew: usize, day: &CrewPlan, ahead: Option<&Ahead>) -> Option<Route> {
    let model = state.model;
    let calls_max = usize::from(model.crew(crew).calls_max);
    let mut route = state.routes[crew].clone();
    // One of the units it has may have to be put down now.
    if !redue(state, crew, &mut route.legs) {
        return None;
    }
    let mut put_down: Vec<&[UnitIx]> = vec![&[]];
    for stop in day.stops.iter().filter(|stop| !stop.frozen) {
        match &stop.visit {
            Visit::Job { job, .. } => {
                let known = job.ix() < model.problem.jobs().len();
                if known
                    && !model.problem.is_frozen(*job)
                    && state.route_of[job.ix()].is_none()
                    && model.eligible(*job, crew)
                    && route.position(*job).is_none()
                {
                    route.insert(route.visits.len(), Inner::Job(*job));
                }
            }
            Visit::Yard { load, unload } => {
                if route.calls.len() < calls_max
                    && let Some(yard) = yard_at(state, crew, stop.place)
                {
                    let leg = route.insert_call(route.visits.len(), yard);
                    put_down.push(unload);
                    route.legs[leg].units = free_of(state, crew, load, &Spot::yard(stop.place));
                    // Taken before they are there for the last time: then it was the time before.
                    route.legs[leg].early = route.legs[leg].units.iter().any(|unit| {
                        let last = state.stretch_at_call(crew, *unit, false);
                        last.is_some_and(|window| window.open > stop.start)
                    });
                }
            }
            Visit::Meet { give, take, .. } => {
                if route.calls.len() < calls_max
                    && let Some(ahead) = ahead
                    && ahead.planned == stop.start
                {
                    let (with, meet) = (ahead.with, ahead.meet);
                    let leg = route.insert_meeting(route.visits.len(), with, meet);
                    put_down.push(give);
                    let spot = Spot {
                        meet: Some(meet),
                        ..Spot::yard(stop.place)
                    };
                    route.legs[leg].units = free_of(state, crew, take, &spot);
                }
            }
        }
    }
    if !model.crews[crew].under_way {
        let mut first = Leg::empty();
        let spot = Spot::yard(model.crews[crew].from);
        first.units = free_of(state, crew, &day.load_out, &spot);
        let wanted = classes(state, &first.units);
        route.legs[0] = first;
        if !refit(state, crew, &mut route.legs, 0, &wanted, Swap::Keep) {
            route.legs[0] = Leg::empty();
        }
    }
    let mut leg = 1;
    while leg < route.legs.len() {
        let (before, after) = route.legs.split_at_mut(leg);
        let stays = before[leg - 1].units.iter().copied();
        let put_down_here = put_down[leg];
        after[0]
            .units
            .extend(stays.filter(|unit| !put_down_here.contains(unit)));
        // What is carried along without use is not asked for.
        let mut units = after[0].units.clone();
        units.retain(|unit| !is_idle_freight(state, crew, &route.legs, leg, *unit));
        let wanted = classes(state, &units);
        if refit(state, crew, &mut route.legs, leg, &wanted, Swap::Keep) {
            leg += 1;
        } else {
            route.remove_call(leg);
            put_down.remove(leg);
        }
    }
    drop_until_possible(state, crew, &mut route).then_some(route)
}

fn yard_at(state: &State, crew: usize, place: PlaceIx) -> Option<u8> {
    let yards = &state.model.crew(crew).yard_calls;
    let at = yards.iter().position(|call| call.place == place)?;
    u8::try_from(at).ok()
}

fn classes(state: &State, units: &[UnitIx]) -> ClassSet {
    let mut set = ClassSet::EMPTY;
    for unit in units {
        set.insert(class_of(state.model, *unit));
    }
    set
}

/// Those of the units that exist, are with nobody else, and stand where they are loaded.
fn free_of(state: &State, crew: usize, units: &[UnitIx], spot: &Spot) -> Vec<UnitIx> {
    let is_free = |unit: &UnitIx| {
        unit.ix() < 2 * state.model.problem.units().len()
            && state
                .holder(crew, *unit)
                .is_none_or(|holder| holder == crew)
            && state.stands_at(crew, *unit, spot)
    };
    units.iter().copied().filter(is_free).collect()
}

/// Lets jobs go, at each round the first that stands in the way, until the rest is possible.
fn drop_until_possible(state: &State, crew: usize, route: &mut Route) -> bool {
    for _ in 0..=route.visits.len() {
        let mut trial = route.clone();
        if settle(state, crew, &mut trial) {
            *route = trial;
            return true;
        }
        // The first job that has no tool, or the first refused visit.
        let at = match trial.serve(state.model, crew) {
            Err(position) => position,
            Ok(_) => trial.steps.len() - 1,
        };
        let culprit = (at..route.visits.len())
            .chain((0..at.min(route.visits.len())).rev())
            .find(|position| matches!(route.visits[*position], Inner::Job(_)));
        let Some(culprit) = culprit else { return false };
        route.remove(culprit);
    }
    false
}
