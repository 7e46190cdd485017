//! Which of several like units: the one the crew had before.
//!
//! The search knows units of a class apart only by where and when they are to be had, so it may give a crew the twin of
//! what it had. That changes no cost, but somebody would have to carry machines from truck to truck for nothing.

use crate::index::UnitIx;
use crate::plan::{CrewPlan, Plan, Visit};
use crate::problem::{Problem, Progress};
use crate::search::load::units_of;

/// Exchanges like units throughout the plan, so that crews keep those that the plan before gave them.
pub(super) fn keep(problem: &Problem, before: &Plan, plan: &mut Plan) {
    for (ix, old) in before.crews.iter().enumerate().take(plan.crews.len()) {
        // A crew that had twins before and after a call at the yard has its first choice kept.
        let mut kept: Vec<UnitIx> = Vec::new();
        for had in units_of(old) {
            let has: Vec<UnitIx> = units_of(&plan.crews[ix]).collect();
            if has.contains(&had) {
                kept.push(had);
                continue;
            }
            let twin = has
                .into_iter()
                .find(|unit| !kept.contains(unit) && alike(problem, *unit, had));
            if let Some(twin) = twin {
                exchange(plan, twin, had);
                kept.push(had);
            }
        }
    }
}

/// Whether one may stand for the other everywhere: of one class, at one place, at the same times, and on no crew's way.
fn alike(problem: &Problem, one: UnitIx, other: UnitIx) -> bool {
    one.ix() < problem.units().len()
        && other.ix() < problem.units().len()
        && problem.unit(one) == problem.unit(other)
        && !is_out(problem, one)
        && !is_out(problem, other)
}

fn is_out(problem: &Problem, unit: UnitIx) -> bool {
    problem.crews().iter().any(|crew| match &crew.progress {
        Progress::NotStarted => false,
        Progress::UnderWay(way) => way.aboard.contains(&unit),
    })
}

fn exchange(plan: &mut Plan, one: UnitIx, other: UnitIx) {
    for unit in plan.crews.iter_mut().flat_map(units_mut) {
        if *unit == one {
            *unit = other;
        } else if *unit == other {
            *unit = one;
        }
    }
    for crew in &mut plan.crews {
        crew.load_out.sort_unstable();
    }
}

fn units_mut(day: &mut CrewPlan) -> impl Iterator<Item = &mut UnitIx> {
    let in_stops = day.stops.iter_mut().flat_map(|stop| {
        let (of_tasks, first, second) = match &mut stop.visit {
            Visit::Job { tasks, .. } => (Some(tasks), None, None),
            Visit::Yard { unload, load } => (None, Some(unload), Some(load)),
            Visit::Meet { give, take, .. } => (None, Some(give), Some(take)),
        };
        of_tasks
            .into_iter()
            .flatten()
            .flat_map(|task| task.unit.iter_mut().chain(&mut task.powerhead))
            .chain(first.into_iter().chain(second).flatten())
    });
    day.load_out.iter_mut().chain(in_stops)
}
