//! Why a job is left out.
//!
//! The answer is a least set of causes. Where single causes stand in the way, all of them are listed, and lifting any
//! one makes the job fit ([`Reasons::AnyOne`]). Where no single one is enough, the smallest set found is listed: lifting
//! all of them makes it fit, and leaving one out does not ([`Reasons::AllOf`]). "Fits" means: with the other jobs staying with
//! their crews in their order, at any price.
//!
//! Each cause is tried by really lifting it: the crew's part of the problem is changed and the job is inserted by the
//! same code that plans.

mod cause;
mod trial;

pub use cause::Cause;
pub(crate) use cause::EVER;

use crate::cost::Cost;
use crate::index::{CrewIx, JobIx};
use crate::plan::Plan;
use crate::problem::{Crew, Problem};
use crate::routing::Cancel;
use crate::search::model::may_do;
use trial::Trial;

/// A job left out and why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unplanned {
    /// The job.
    pub job: JobIx,
    /// Why.
    pub reasons: Reasons,
}

/// A least set of causes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Reasons {
    /// Lifting any one of them makes the job fit.
    AnyOne(Vec<Cause>),
    /// Lifting all of them makes the job fit; none can be spared.
    AllOf(Vec<Cause>),
    /// It fits, but costs more than leaving it out.
    NotWorthIt {
        /// The crew with which it costs least.
        crew: CrewIx,
        /// What it would add to the plan's cost.
        cost: Cost,
        /// What leaving it out costs.
        penalty: Cost,
        /// Whether it would be worth it, were it not for the crews' limits of exposure.
        for_exposure: bool,
    },
    /// It fits, and costs less than leaving it out: the plan does so all the same, as one of several ways to go on may, or as its
    /// search was over.
    LeftAnyway {
        /// The crew with which it costs least.
        crew: CrewIx,
        /// What it would add to the plan's cost.
        cost: Cost,
        /// What leaving it out costs.
        penalty: Cost,
    },
    /// Nothing that could be lifted makes it fit; the causes, if any, cannot be lifted.
    Never(Vec<Cause>),
}

/// Explains every job the plan leaves out.
///
/// # Panics
/// Never for a plan of this problem; one that [`check`](crate::check()) refuses gives explanations without meaning.
pub fn explain(problem: &Problem, plan: &Plan) -> Vec<Unplanned> {
    explain_until(problem, plan, &Cancel::new())
}

/// The same for as many of the jobs, in the plan's order, as are done when it is cancelled.
pub fn explain_until(problem: &Problem, plan: &Plan, cancel: &Cancel) -> Vec<Unplanned> {
    plan.unplanned
        .iter()
        .map_while(|&job| {
            let reasons = reasons(problem, plan, job, cancel);
            // What it was cancelled in has no meaning.
            (!cancel.is_raised()).then_some(Unplanned { job, reasons })
        })
        .collect()
}

/// Explains one job the plan leaves out.
pub fn explain_job(problem: &Problem, plan: &Plan, job: JobIx) -> Reasons {
    reasons(problem, plan, job, &Cancel::new())
}

/// Once it is cancelled, nothing seems to fit.
fn reasons(problem: &Problem, plan: &Plan, job: JobIx, cancel: &Cancel) -> Reasons {
    if let Some(causes) = no_tool_at_all(problem, job) {
        return Reasons::Never(causes);
    }
    let mut trials: Vec<Trial> = nearest_crews(problem, plan, job)
        .into_iter()
        .map(|crew| Trial::new(problem, plan, job, crew, cancel))
        .collect();
    let mut cheapest: Option<(Cost, CrewIx)> = None;
    for trial in &trials {
        if let Some(cost) = trial.cost_without(&[])
            && cheapest.is_none_or(|(least, _)| cost < least)
        {
            cheapest = Some((cost, trial.crew()));
        }
    }
    if let Some((cost, crew)) = cheapest {
        let penalty = Cost::money(
            problem.job(job).penalty,
            problem.weights().unplanned_permille,
        );
        if cost < penalty {
            return Reasons::LeftAnyway {
                crew,
                cost,
                penalty,
            };
        }
        return Reasons::NotWorthIt {
            crew,
            cost,
            penalty,
            for_exposure: worth_it_without_limits(problem, plan, job, penalty, cancel),
        };
    }
    let mut singles: Vec<Cause> = Vec::new();
    for trial in &mut trials {
        for cause in trial.single_causes() {
            if !singles.contains(&cause) {
                singles.push(cause);
            }
        }
    }
    if !singles.is_empty() {
        singles.sort_by_key(Cause::rank);
        return Reasons::AnyOne(singles);
    }
    let smallest = trials
        .iter()
        .filter_map(Trial::smallest_set)
        .min_by_key(Vec::len);
    match smallest {
        Some(mut causes) => {
            // What one crew cannot spare another may.
            let fits = |causes: &[Cause]| {
                trials
                    .iter()
                    .any(|trial| trial.cost_without(causes).is_some())
            };
            let mut at = 0;
            while at < causes.len() {
                let cause = causes.remove(at);
                if fits(&causes) {
                    at = 0;
                } else {
                    causes.insert(at, cause);
                    at += 1;
                }
            }
            for at in 0..causes.len() {
                let cause = causes.remove(at);
                let measured = trials
                    .iter()
                    .fold(cause, |cause, trial| trial.measured(cause, &causes));
                causes.insert(at, measured);
            }
            causes.sort_by_key(Cause::rank);
            Reasons::AllOf(causes)
        }
        None => Reasons::Never(Vec::new()),
    }
}

/// Whether the job fits at less than its penalty once no crew has a limit of exposure.
fn worth_it_without_limits(
    problem: &Problem,
    plan: &Plan,
    job: JobIx,
    penalty: Cost,
    cancel: &Cancel,
) -> bool {
    let limited = |crew: &Crew| crew.exposure_limit.is_some();
    if !problem.crews().iter().any(limited) {
        return false;
    }
    let free = problem.changed(|parts| {
        for crew in &mut parts.crews {
            crew.exposure_limit = None;
        }
    });
    nearest_crews(&free, plan, job)
        .into_iter()
        .filter_map(|crew| Trial::new(&free, plan, job, crew, cancel).cost_without(&[]))
        .any(|cost| cost < penalty)
}

/// Crews looked at for one job.
const CREWS_MAX: usize = 12;

/// The crews that could be asked first: those that may do the job at all, and of them those whose stops are nearest.
fn nearest_crews(problem: &Problem, plan: &Plan, job: JobIx) -> Vec<CrewIx> {
    let place = problem.job(job).place;
    let travel = problem.travel();
    let mut crews: Vec<(bool, i64, CrewIx)> = plan
        .crews
        .iter()
        .enumerate()
        .map(|(ix, day)| {
            let crew = CrewIx::from_ix(ix);
            let stops = day
                .stops
                .iter()
                .filter(|stop| !stop.frozen)
                .map(|stop| stop.place);
            let near = stops.map(|stop| travel.table_seconds(stop, place)).min();
            let team = problem.crew(crew);
            (
                !may_do(crew, team, problem.job(job)),
                near.unwrap_or_else(|| travel.table_seconds(team.start, place)),
                crew,
            )
        })
        .collect();
    crews.sort_unstable();
    crews.truncate(CREWS_MAX);
    crews.into_iter().map(|(_, _, crew)| crew).collect()
}

/// Tasks for which no unit of the branch is capable, whatever gate and slope.
fn no_tool_at_all(problem: &Problem, job: JobIx) -> Option<Vec<Cause>> {
    let mut sizes: Vec<u8> = problem.crews().iter().map(|crew| crew.size).collect();
    sizes.sort_unstable();
    sizes.dedup();
    let causes: Vec<Cause> = (0..problem.job(job).tasks.len())
        .filter(|&task| {
            sizes.iter().all(|&size| {
                problem.tool_choices(job, task, size).is_empty()
                    && problem.obstacles(job, task, size).next().is_none()
            })
        })
        .map(|task| Cause::NoCapability { task })
        .collect();
    (!causes.is_empty()).then_some(causes)
}
