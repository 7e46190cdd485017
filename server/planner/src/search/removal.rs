//! Taking jobs out of a crew's day.

use super::class_set::ClassSet;
use super::load_out::{self, Swap};
use super::route::{Leg, Route, Visit};
use super::state::State;
use crate::cost::Cost;
use crate::index::JobIx;

/// Takes the jobs out of the crew's route, lets go of units no longer used, and leaves the route evaluated. Jobs that
/// cannot stay for that are taken out too and added to `jobs`.
///
/// Holders and the plan's cost are kept true; the jobs are in neither a route nor the bank afterwards.
pub(crate) fn remove(
    state: &mut State,
    crew: usize,
    jobs: &mut Vec<JobIx>,
    scratch: &mut Option<Route>,
) {
    // The route is worked on where the state does not look.
    let route = match scratch {
        Some(route) => route,
        None => scratch.insert(state.routes[crew].clone()),
    };
    std::mem::swap(route, &mut state.routes[crew]);
    let was = route.cost;
    state.had.clear();
    let legs = route.legs.iter();
    state
        .had
        .extend(legs.flat_map(|leg| leg.units.iter().copied()));
    let goes = |visit: &Visit| matches!(visit, Visit::Job(job) if jobs.contains(job));
    let mut kept = route.visits.iter().position(goes).unwrap_or(0);
    route.retain(|visit| !goes(visit));
    while !settle_from(state, crew, route, kept) {
        kept = 0;
        // An earlier arrival can be worse (a break may fall into a drive): let the last job go and try again.
        let last = route
            .visits
            .iter()
            .rposition(|visit| matches!(visit, Visit::Job(_)));
        let Some(last) = last else { break };
        if let Visit::Job(job) = route.remove(last) {
            jobs.push(job);
        }
    }
    for job in jobs.iter() {
        if state.route_of[job.ix()] == Some(crew) {
            state.route_of[job.ix()] = None;
        }
    }
    state.cost += Cost(route.cost - was);
    route.version = state.stamp();
    std::mem::swap(route, &mut state.routes[crew]);
    state.hold_instead(crew);
}

/// Drops what is not used, the call too if it brings nothing, and evaluates.
pub(crate) fn settle(state: &State, crew: usize, route: &mut Route) -> bool {
    settle_from(state, crew, route, 0)
}

/// The same for a day that was evaluated before it lost visits, none of them among the first `kept`.
fn settle_from(state: &State, crew: usize, route: &mut Route, kept: usize) -> bool {
    let Ok(mut used) = route.serve(state.model, crew) else {
        return false;
    };
    if route.legs.len() > 1 {
        if !call_brings_something(state, route, &used[1]) {
            // It may still be there to bring a unit back that is due.
            let mut without = route.clone();
            drop_call(&mut without);
            if settle(state, crew, &mut without) {
                route.clone_from(&without);
                return true;
            }
        }
        if load_out::is_open(state.model, crew, 0) {
            for unit in &route.legs[1].units {
                let class = load_out::class_of(state.model, *unit);
                if route.legs[0].units.contains(unit) && used[1].has(class) {
                    used[0].insert(class);
                }
            }
        }
    }
    for (leg, used) in used.iter().enumerate().take(route.legs.len()) {
        if load_out::is_open(state.model, crew, leg)
            && !load_out::refit(state, crew, &mut route.legs, leg, used, Swap::Keep)
        {
            return false;
        }
    }
    // Classes that had to stay aboard may be quicker than what was used before.
    if route.legs.len() > 1 {
        if route.serve(state.model, crew).is_err() {
            return false;
        }
    } else if kept > 0 {
        // With fewer units aboard, what stays is done as it was.
        return route.evaluate_from(&state.clock(crew), kept).is_ok();
    }
    route.evaluate(&state.clock(crew)).is_ok()
}

/// Whether a unit that the call brings is used after it.
fn call_brings_something(state: &State, route: &Route, used: &ClassSet) -> bool {
    route.legs[1].units.iter().any(|unit| {
        used.has(load_out::class_of(state.model, *unit)) && !route.legs[0].units.contains(unit)
    })
}

fn drop_call(route: &mut Route) {
    route.retain(|visit| *visit != Visit::Call);
    route.legs.truncate(1);
    debug_assert!(
        route
            .legs
            .iter()
            .all(|leg: &Leg| leg.units.len() >= leg.set.len())
    );
}
