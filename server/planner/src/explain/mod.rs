//! Why a job is left out.
//!
//! The answer is a least set of causes. Where single causes stand in the way, all of them are listed, and lifting any
//! one makes the job fit ([`Reasons::AnyOne`]). Where no single one is enough, the smallest set found is listed: lifting
//! all of them makes it fit, and leaving one out does not ([`Reasons::AllOf`]). "Fits" means: with the other jobs staying with
//! their crews in their order, at any price.
//!
//! Each cause is tried by really lifting it: the crew's part of the problem is changed and the job is inserted by the
//! same code that plans.
//!
//! Every crew is asked whether the job fits as things are, one after the other. How many crews are gone through cause by
//! cause is bounded by what is tried, not by their number, the likeliest first; where there is more than the bound allows,
//! causes of the crews that come last may be missing, and what is listed is true all the same.

mod cause;
mod crews;
mod held;
mod trial;
mod work;

pub use cause::Cause;
pub(crate) use cause::EVER;

use crate::cost::Cost;
use crate::index::{CrewIx, JobIx};
use crate::plan::Plan;
use crate::problem::Problem;
use crate::routing::Cancel;
use crews::{Asked, in_order};
use held::Held;
use trial::{Case, Trial};
use work::Work;

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
    let held = Held::of_plan(problem, plan);
    plan.unplanned
        .iter()
        .map_while(|&job| {
            let work = Work::for_one_of(plan.unplanned.len());
            let reasons = reasons(Case {
                problem,
                plan,
                job,
                held: &held,
                work: &work,
                cancel,
            });
            // What it was cancelled in has no meaning.
            (!cancel.is_raised()).then_some(Unplanned { job, reasons })
        })
        .collect()
}

/// Explains one job the plan leaves out.
pub fn explain_job(problem: &Problem, plan: &Plan, job: JobIx) -> Reasons {
    reasons(Case {
        problem,
        plan,
        job,
        held: &Held::of_plan(problem, plan),
        work: &Work::for_one_of(1),
        cancel: &Cancel::new(),
    })
}

/// Once it is cancelled, nothing seems to fit.
fn reasons(case: Case) -> Reasons {
    if let Some(causes) = no_tool_at_all(case.problem, case.job) {
        return Reasons::Never(causes);
    }
    let crews = in_order(case.problem, case.plan, case.job);
    if let Some(reasons) = fits_as_it_is(case, &crews) {
        return reasons;
    }
    let singles = single_causes(case, &crews);
    if !singles.is_empty() {
        return Reasons::AnyOne(singles);
    }
    let Some(causes) = smallest_set(case, &crews) else {
        return Reasons::Never(Vec::new());
    };
    let causes = without_spare(case, &crews, causes);
    match causes.len() {
        // Where more was to be tried than the bound allows.
        1 => Reasons::AnyOne(causes),
        _ => Reasons::AllOf(causes),
    }
}

/// With which crew the job fits at the least cost, if it fits as things are.
fn fits_as_it_is(case: Case, crews: &[Asked]) -> Option<Reasons> {
    let (problem, penalty) = (
        case.problem,
        Cost::money(
            case.problem.job(case.job).penalty,
            case.problem.weights().unplanned_permille,
        ),
    );
    let able = || crews.iter().filter(|asked| asked.least() == 0);
    let mut cheapest: Option<(Cost, CrewIx)> = None;
    for asked in able() {
        if let Some(cost) = Trial::new(case, asked).cost_without(&[])
            && cheapest.is_none_or(|(least, _)| cost < least)
        {
            cheapest = Some((cost, asked.crew));
        }
    }
    let (cost, crew) = cheapest?;
    if cost < penalty {
        return Some(Reasons::LeftAnyway {
            crew,
            cost,
            penalty,
        });
    }
    // A crew without a limit has been asked already.
    let limited = |asked: &&Asked| problem.crew(asked.crew).exposure_limit.is_some();
    let for_exposure = able().filter(limited).any(|asked| {
        let cost = Trial::new(case, asked).cost_without_limit();
        cost.is_some_and(|cost| cost < penalty)
    });
    Some(Reasons::NotWorthIt {
        crew,
        cost,
        penalty,
        for_exposure,
    })
}

/// The causes of which each by itself stands in the way, in the order in which a dispatcher would like to read them.
fn single_causes(case: Case, crews: &[Asked]) -> Vec<Cause> {
    case.work.begin();
    let mut singles: Vec<Cause> = Vec::new();
    for asked in crews.iter().take_while(|asked| asked.least() <= 1) {
        if case.work.is_spent() || case.cancel.is_raised() {
            break;
        }
        for cause in Trial::new(case, asked).single_causes() {
            if !singles.contains(&cause) {
                singles.push(cause);
            }
        }
    }
    singles.sort_by_key(Cause::rank);
    singles
}

/// The smallest of the crews' sets.
fn smallest_set(case: Case, crews: &[Asked]) -> Option<Vec<Cause>> {
    case.work.begin();
    let mut smallest: Option<Vec<Cause>> = None;
    for asked in crews {
        // One cause alone has been tried.
        let needed = asked.least().max(2);
        let enough = |set: &Vec<Cause>| set.len() <= needed || case.work.is_spent();
        if smallest.as_ref().is_some_and(enough) || case.cancel.is_raised() {
            break;
        }
        let set = Trial::new(case, asked).smallest_set();
        let smaller = |set: &Vec<Cause>| {
            let least = smallest.as_ref().map(Vec::len);
            least.is_none_or(|least| set.len() < least)
        };
        if let Some(set) = set.filter(smaller) {
            smallest = Some(set);
        }
    }
    smallest
}

/// The set without what one crew cannot spare and another may, in the order in which it is read.
fn without_spare(case: Case, crews: &[Asked], mut set: Vec<Cause>) -> Vec<Cause> {
    case.work.begin();
    let fits = |causes: &[Cause]| {
        let mut helped = crews.iter().filter(|asked| {
            // With nothing lifted that would help, a crew has been asked.
            asked.may_with(causes) && causes.iter().any(|cause| asked.is_helped_by(cause))
        });
        helped.any(|asked| {
            !case.work.is_spent() && Trial::new(case, asked).cost_without(causes).is_some()
        })
    };
    let mut at = 0;
    while at < set.len() {
        let one = set.remove(at);
        if fits(&set) {
            at = 0;
        } else {
            set.insert(at, one);
            at += 1;
        }
    }
    for at in 0..set.len() {
        let one = set.remove(at);
        let its_crew =
            |asked: &&Asked| matches!(one, Cause::ShiftFull { crew, .. } if crew == asked.crew);
        let measured = match crews.iter().find(its_crew) {
            Some(asked) => Trial::new(case, asked).measured(one, &set),
            None => one,
        };
        set.insert(at, measured);
    }
    set.sort_by_key(Cause::rank);
    set
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
