//! From an outward plan to the search's own: the warm start.

use super::class_set::ClassSet;
use super::load_out::{Swap, class_of, refit};
use super::removal::settle;
use super::route::{Leg, Route, Visit as Inner};
use super::state::State;
use crate::index::{JobIx, PlaceIx, UnitIx};
use crate::plan::{CrewPlan, Plan, Visit};

/// Takes over as much of the plan as is still possible. Jobs that cannot stay where they were go to the bank; references
/// to what the problem does not have are passed over.
pub(crate) fn load(state: &mut State, plan: &Plan) {
    // Nobody takes a unit that the plan gives to somebody else.
    for (crew, day) in plan.crews.iter().enumerate().take(state.routes.len()) {
        for unit in units_of(day) {
            state.reserve(crew, unit);
        }
    }
    for (crew, day) in plan.crews.iter().enumerate().take(state.routes.len()) {
        if let Some(route) = load_crew(state, crew, day) {
            state.put(crew, &route);
            state.note_jobs(crew);
        }
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
}

/// Units the crew has at some time of its day.
pub(crate) fn units_of(day: &CrewPlan) -> impl Iterator<Item = UnitIx> {
    let loaded = day.stops.iter().filter_map(|stop| match &stop.visit {
        Visit::Yard { load, .. } => Some(load),
        Visit::Job { .. } | Visit::Meet { .. } => None,
    });
    day.load_out.iter().chain(loaded.flatten()).copied()
}

fn load_crew(state: &State, crew: usize, day: &CrewPlan) -> Option<Route> {
    let model = state.model;
    let mut route = state.routes[crew].clone();
    let mut put_down: &[UnitIx] = &[];
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
                if route.call_at.is_none() && model.crew(crew).yard_call.is_some() {
                    put_down = unload;
                    let mut second = Leg::empty();
                    second.units = load
                        .iter()
                        .copied()
                        .filter(|unit| is_free(state, crew, *unit, stop.place))
                        .collect();
                    route.legs.push(second);
                    route.insert(route.visits.len(), Inner::Call);
                }
            }
            Visit::Meet { .. } => {}
        }
    }
    if !model.crews[crew].under_way {
        let mut first = Leg::empty();
        first.units = day
            .load_out
            .iter()
            .copied()
            .filter(|unit| is_free(state, crew, *unit, model.crews[crew].from))
            .collect();
        let wanted = classes(state, &first.units);
        route.legs[0] = first;
        if !refit(state, crew, &mut route.legs, 0, &wanted, Swap::Keep) {
            route.legs[0] = Leg::empty();
        }
    }
    if route.legs.len() > 1 {
        let (first, second) = route.legs.split_at_mut(1);
        let stays = first[0]
            .units
            .iter()
            .copied()
            .filter(|unit| !put_down.contains(unit));
        second[0].units.extend(stays);
        let units = second[0].units.clone();
        let wanted = classes(state, &units);
        if !refit(state, crew, &mut route.legs, 1, &wanted, Swap::Keep) {
            route.legs.truncate(1);
            route.retain(|visit| *visit != Inner::Call);
        }
    }
    drop_until_possible(state, crew, &mut route).then_some(route)
}

fn classes(state: &State, units: &[UnitIx]) -> ClassSet {
    let mut set = ClassSet::EMPTY;
    for unit in units {
        set.insert(class_of(state.model, *unit));
    }
    set
}

/// The unit exists, is with nobody else, and stands at the place where it is loaded.
fn is_free(state: &State, crew: usize, unit: UnitIx, place: PlaceIx) -> bool {
    unit.ix() < state.model.problem.units().len()
        && state.holder(crew, unit).is_none_or(|holder| holder == crew)
        && state.model.problem.unit(unit).home == place
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
