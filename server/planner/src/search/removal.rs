//! Taking jobs out of a crew's day.

use super::class_set::ClassSet;
use super::compare;
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
    let (mut kept, mut stood_up) = (route.visits.iter().position(goes).unwrap_or(0), false);
    route.retain(|visit| !goes(visit));
    while !settle_from(state, crew, route, kept) {
        kept = 0;
        // An earlier arrival can be worse (a break may fall into a drive): let the last job go and try again.
        let last = route
            .visits
            .iter()
            .rposition(|visit| matches!(visit, Visit::Job(_)));
        let Some(last) = last else {
            stand_up(state, crew, route);
            stood_up = true;
            break;
        };
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
    if !stood_up {
        compare::removal(state, crew);
    }
}

/// A crew without jobs that cannot even meet another as it should goes home. The other still waits for it, unless it does
/// without what was to be handed over.
fn stand_up(state: &State, crew: usize, route: &mut Route) {
    route.retain(|_| false);
    route.legs.truncate(1);
    let clock = state.clock(crew);
    if load_out::redue(state, crew, &mut route.legs) && route.evaluate(&clock).is_ok() {
        return;
    }
    // It has what it was to give away. So that the day can be reckoned at all, nothing aboard is due; who goes without the
    // meeting has its units' times found anew, and nothing else of this is kept.
    for leg in &mut route.legs {
        (leg.due, leg.home_due) = (Leg::empty().due, Leg::empty().home_due);
    }
    let evaluated = route.evaluate(&clock);
    debug_assert!(evaluated.is_ok(), "a day without stops is always possible");
}

/// Drops what is not used, calls too that bring nothing, and evaluates.
pub(crate) fn settle(state: &State, crew: usize, route: &mut Route) -> bool {
    settle_from(state, crew, route, 0)
}

/// The same for a day that was evaluated before it lost visits, none of them among the first `kept`.
fn settle_from(state: &State, crew: usize, route: &mut Route, kept: usize) -> bool {
    let Ok(mut used) = route.serve(state.model, crew) else {
        return false;
    };
    if route.legs.len() > 1 {
        load_out::carry_back(state, crew, &route.legs, &mut used);
        for leg in (1..route.legs.len()).rev() {
            // Who meets another does not stay away by itself.
            if route.legs[leg].meets.is_some()
                || call_brings_something(state, route, leg, &used[leg])
            {
                continue;
            }
            // It may still be there to bring a unit back that is due, or to make room.
            let mut without = route.clone();
            without.remove_call(leg);
            if settle(state, crew, &mut without) {
                route.clone_from(&without);
                return true;
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
fn call_brings_something(state: &State, route: &Route, leg: usize, used: &ClassSet) -> bool {
    let (before, after) = (&route.legs[leg - 1].units, &route.legs[leg].units);
    after
        .iter()
        .any(|unit| used.has(load_out::class_of(state.model, *unit)) && !before.contains(unit))
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng;
    use rand_xoshiro::Xoshiro256PlusPlus;

    use super::*;
    use crate::Cancel;
    use crate::problem::{Break, Parts, Window};
    use crate::search::load::load;
    use crate::search::meeting;
    use crate::search::model::Model;
    use crate::search::scope::Scope;
    use crate::search::shares;
    use crate::search::undo::Undo;
    use crate::support::plain::{HOUR, class, out_with, unit};
    use crate::support::two_meetings::{TAKERS, day, job_before, job_with_it, planned};

    const DUE: i64 = 8 * HOUR;

    /// The first taker is out with a unit that must be back, and its break lies well only in the job before the meeting:
    /// without that it cannot come.
    fn restless_taker() -> Parts {
        let mut parts = day(2);
        parts.classes.push(class(2));
        let mut aboard = unit(2, 0);
        aboard.available = vec![Window {
            open: 0,
            close: DUE,
        }];
        parts.units.push(aboard);
        let taker = &mut parts.crews[TAKERS[0]];
        taker.load_space = 2;
        taker.breaks = vec![Break {
            earliest: 1_800,
            latest: 2_400,
            seconds: 1_800,
        }];
        taker.progress = out_with(&[4]);
        parts.jobs[job_before(TAKERS[0]).ix()].fixed_seconds = 3_600;
        parts
    }

    /// What a crew has aboard is due as before, though it stands another up; and all of it can be taken back.
    #[test]
    fn who_stands_another_up_brings_its_units_back_in_time() {
        let (problem, plan) = planned(restless_taker());
        let model = Model::new(&problem, &Cancel::new());
        let mut state = State::new(&model);
        load(&mut state, &plan);
        let (taker, before) = (TAKERS[0], state.clone());
        assert_eq!(state.shares.len(), 2);

        let mut undo = Undo::default();
        undo.begin(&state);
        undo.save(&state, taker);
        let mut jobs = vec![job_before(taker), job_with_it(taker)];
        let mut scratch = None;
        remove(&mut state, taker, &mut jobs, &mut scratch);
        assert!(state.routes[taker].visits.is_empty());
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(0);
        let scope = Scope::whole(&state);
        assert!(shares::settle(
            &mut state,
            &scope,
            &mut undo,
            &mut scratch,
            &mut rng
        ));
        assert!(meeting::sound(&state, true));
        assert_eq!(state.routes[taker].legs[0].due, DUE);
        state.assert_consistent();

        undo.restore(&mut state, before.cost);
        assert!(state.routes == before.routes && state.shares == before.shares);
        state.assert_consistent();
    }
}
