//! What a proposal says.

use super::strategy::lost;
use crate::Seconds;
use crate::cost::Cost;
use crate::index::{CrewIx, JobIx, UnitIx};
use crate::plan::{Plan, Stop, Visit};
use crate::problem::Problem;

/// A way out, ready to be accepted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Proposal {
    /// What it comes to.
    pub kind: Kind,
    /// The plan, for the problem as of now.
    pub plan: Plan,
    /// What it changes against the plan before, job by job.
    pub changes: Vec<Change>,
    /// Promises of open jobs.
    pub promises: Vec<PromiseState>,
    /// Driving, working and waiting still to come.
    pub seconds: Seconds,
    /// Cost of it all, the objective.
    pub cost: Cost,
    /// Overtime of all crews.
    pub overtime_seconds: Seconds,
}

/// What a proposal comes to, by its most telling trait.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Everybody goes on with what is aboard.
    GoOn,
    /// A crew calls at the yard for a unit.
    Fetch,
    /// Two crews meet, and one hands a unit over.
    Meet,
    /// Jobs change crews.
    MoveJobs,
    /// Jobs are left for another day.
    Defer,
}

/// One job's change.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Change {
    /// The job.
    pub job: JobIx,
    /// Crew and start before, if it was planned.
    pub before: Option<(CrewIx, Seconds)>,
    /// Crew and start now, if it is planned.
    pub after: Option<(CrewIx, Seconds)>,
    /// Why.
    pub because: Because,
}

/// Why a job changes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Because {
    /// The unit it was to be done with is out, or out of reach.
    ToolLost(UnitIx),
    /// It stands behind or beside a job that changes.
    OthersChange,
}

/// A promise under a proposal.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PromiseState {
    /// The job.
    pub job: JobIx,
    /// Whether it is kept. A job left out keeps no promise.
    pub kept: bool,
    /// Whether the plan before kept it: if so and it is not kept now, somebody must phone.
    pub kept_before: bool,
}

pub(super) fn describe(problem: &Problem, before: &Plan, plan: Plan) -> Proposal {
    let open = || {
        (0..problem.jobs().len())
            .map(JobIx::from_ix)
            .filter(|job| !problem.is_frozen(*job))
    };
    let (places_before, places) = (places(problem, before), places(problem, &plan));
    let mut changes = Vec::new();
    let mut promises = Vec::new();
    for job in open() {
        let (was, is) = (places_before[job.ix()], places[job.ix()]);
        if let Some(promise) = problem.job(job).promise {
            let kept = |place: Option<(CrewIx, &Stop)>| {
                place.is_some_and(|(_, stop)| promise.kept(stop.start, stop.finish))
            };
            promises.push(PromiseState {
                job,
                kept: kept(is),
                kept_before: kept(was),
            });
        }
        let times = |place: Option<(CrewIx, &Stop)>| place.map(|(crew, stop)| (crew, stop.start));
        if differs(problem, times(was), times(is)) || tools(was) != tools(is) {
            changes.push(Change {
                job,
                before: times(was),
                after: times(is),
                because: because(problem, was),
            });
        }
    }
    let seconds = plan.crews.iter().map(|crew| &crew.totals);
    Proposal {
        kind: kind(before, &plan, &changes),
        seconds: seconds
            .map(|totals| totals.drive_seconds + totals.work_seconds + totals.wait_seconds)
            .sum(),
        cost: plan.cost.total(),
        overtime_seconds: plan
            .crews
            .iter()
            .map(|crew| crew.totals.overtime_seconds)
            .sum(),
        plan,
        changes,
        promises,
    }
}

/// Crew and stop of each job of the problem that the plan does.
fn places<'p>(problem: &Problem, plan: &'p Plan) -> Vec<Option<(CrewIx, &'p Stop)>> {
    let mut places = vec![None; problem.jobs().len()];
    for (crew, day) in plan.crews.iter().enumerate() {
        for stop in &day.stops {
            // The first of several is the one that counts.
            if let Some(place) = stop.job().and_then(|job| places.get_mut(job.ix()))
                && place.is_none()
            {
                *place = Some((CrewIx::from_ix(crew), stop));
            }
        }
    }
    places
}

/// Another crew, or a start moved beyond the tolerance.
fn differs(
    problem: &Problem,
    was: Option<(CrewIx, Seconds)>,
    is: Option<(CrewIx, Seconds)>,
) -> bool {
    match (was, is) {
        (None, None) => false,
        (Some(was), Some(is)) => {
            was.0 != is.0 || (was.1 - is.1).abs() > problem.weights().moved_tolerance
        }
        _ => true,
    }
}

fn tools(place: Option<(CrewIx, &Stop)>) -> Vec<UnitIx> {
    match place.map(|(_, stop)| &stop.visit) {
        Some(Visit::Job { tasks, .. }) => tasks
            .iter()
            .flat_map(|task| task.unit.into_iter().chain(task.powerhead))
            .collect(),
        _ => Vec::new(),
    }
}

fn because(problem: &Problem, was: Option<(CrewIx, &Stop)>) -> Because {
    let gone = was.and_then(|(crew, stop)| {
        tools(was)
            .into_iter()
            .find(|unit| lost(problem, crew, *unit, stop.start))
    });
    gone.map_or(Because::OthersChange, Because::ToolLost)
}

fn kind(before: &Plan, plan: &Plan, changes: &[Change]) -> Kind {
    let calls = |stop: &Stop| !stop.frozen && matches!(stop.visit, Visit::Yard { .. });
    let moved = |change: &Change| match (change.before, change.after) {
        (Some(before), Some(after)) => before.0 != after.0,
        _ => false,
    };
    // One that was to be anyway is nothing new.
    let planned = |visit: &Visit| {
        let mut stops = before.crews.iter().flat_map(|crew| &crew.stops);
        stops.any(|stop| stop.visit == *visit)
    };
    let meets = |stop: &Stop| matches!(stop.visit, Visit::Meet { .. }) && !planned(&stop.visit);
    if plan.crews.iter().any(|crew| crew.stops.iter().any(meets)) {
        Kind::Meet
    } else if plan.crews.iter().any(|crew| crew.stops.iter().any(calls)) {
        Kind::Fetch
    } else if changes.iter().any(moved) {
        Kind::MoveJobs
    } else if changes
        .iter()
        .any(|change| change.before.is_some() && change.after.is_none())
    {
        Kind::Defer
    } else {
        Kind::GoOn
    }
}

/// Whether two plans have the same stops in the same order with the same units.
pub(super) fn same(one: &Plan, other: &Plan) -> bool {
    one.crews.len() == other.crews.len()
        && one.crews.iter().zip(&other.crews).all(|(one, other)| {
            one.load_out == other.load_out
                && one.stops.len() == other.stops.len()
                && one
                    .stops
                    .iter()
                    .zip(&other.stops)
                    .all(|(one, other)| one.visit == other.visit)
        })
}
