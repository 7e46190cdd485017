//! The independent checker: verifies any plan against its problem, and reckons its cost again.
//!
//! It works on the plan's own times, units and tools, rule by rule, and shares no evaluation code with the search. The
//! search builds a timetable; the checker only asks whether the one it is shown is possible. Two ways to the same
//! answer catch what one way would hide.

mod day;
mod equipment;
mod handover;
mod holds;
mod price;
#[cfg(test)]
mod spoilt;
mod violation;

pub use violation::{Moment, Violation};

use crate::cost::Breakdown;
use crate::index::{CrewIx, JobIx, UnitIx};
use crate::plan::Plan;
use crate::problem::{Problem, Progress};

/// Verifies the plan.
///
/// # Errors
/// Every violation found. If there is none, the cost reckoned from the plan's times, which equals [`Plan::cost`].
pub fn check(problem: &Problem, plan: &Plan) -> Result<Breakdown, Vec<Violation>> {
    let mut found = Vec::new();
    if plan.crews.len() != problem.crews().len() {
        return Err(vec![Violation::CrewCount {
            planned: plan.crews.len(),
            crews: problem.crews().len(),
        }]);
    }
    if let Some(unknown) = first_unknown(problem, plan) {
        return Err(vec![unknown]);
    }
    each_job_once(problem, plan, &mut found);
    for (ix, crew_plan) in plan.crews.iter().enumerate() {
        let crew = CrewIx::from_ix(ix);
        frozen_part(problem, crew, plan, &mut found);
        day::check(problem, crew, crew_plan, &mut found);
        equipment::check(problem, crew, crew_plan, &mut found);
    }
    holds::check(problem, plan, &mut found);
    handover::check(problem, plan, &mut found);
    let cost = price::price(problem, plan);
    if cost != plan.cost {
        found.push(Violation::Cost {
            stated: plan.cost,
            reckoned: cost,
        });
    }
    if found.is_empty() {
        Ok(cost)
    } else {
        Err(found)
    }
}

/// A reference to something the problem does not have.
fn first_unknown(problem: &Problem, plan: &Plan) -> Option<Violation> {
    use crate::plan::Visit;
    let (jobs, units) = (problem.jobs().len(), problem.units().len());
    let bad_job = |job: &JobIx| job.ix() >= jobs;
    let bad_unit = |unit: &UnitIx| unit.ix() >= units;
    let mut named: Vec<JobIx> = plan.unplanned.clone();
    let mut used: Vec<UnitIx> = Vec::new();
    for crew in &plan.crews {
        used.extend(&crew.load_out);
        for stop in &crew.stops {
            match &stop.visit {
                Visit::Job { job, tasks } => {
                    named.push(*job);
                    used.extend(
                        tasks
                            .iter()
                            .flat_map(|task| task.unit.into_iter().chain(task.powerhead)),
                    );
                }
                Visit::Yard { unload, load } => used.extend(unload.iter().chain(load)),
                Visit::Meet { give, take, .. } => used.extend(give.iter().chain(take)),
            }
            if stop.place.ix() >= problem.travel().places() {
                return Some(Violation::UnknownPlace { place: stop.place });
            }
        }
    }
    let job = named
        .into_iter()
        .find(bad_job)
        .map(|job| Violation::UnknownJob { job });
    job.or_else(|| {
        used.into_iter()
            .find(bad_unit)
            .map(|unit| Violation::UnknownUnit { unit })
    })
}

fn each_job_once(problem: &Problem, plan: &Plan, found: &mut Vec<Violation>) {
    let mut seen = vec![0_usize; problem.jobs().len()];
    let planned = plan
        .crews
        .iter()
        .flat_map(|crew| crew.stops.iter().filter_map(crate::plan::Stop::job));
    for job in planned.chain(plan.unplanned.iter().copied()) {
        seen[job.ix()] += 1;
    }
    for (ix, &times) in seen.iter().enumerate() {
        if times != 1 {
            found.push(Violation::JobCount {
                job: JobIx::from_ix(ix),
                times,
            });
        }
    }
}

/// What is done or running stands first and unchanged.
fn frozen_part(problem: &Problem, crew: CrewIx, plan: &Plan, found: &mut Vec<Violation>) {
    let stops = &plan.crews[crew.ix()].stops;
    let frozen = match &problem.crew(crew).progress {
        Progress::NotStarted => &[][..],
        Progress::UnderWay(way) => &way.frozen[..],
    };
    let marked = stops.iter().filter(|stop| stop.frozen).count();
    let same = marked == frozen.len()
        && frozen.iter().zip(stops).all(|(was, stop)| {
            stop.frozen
                && stop.job() == Some(was.job)
                && (stop.arrival, stop.start, stop.finish) == (was.arrival, was.start, was.finish)
        });
    if !same {
        found.push(Violation::FrozenChanged { crew });
    }
}
