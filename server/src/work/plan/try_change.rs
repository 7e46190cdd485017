//! What one change would bring to a day.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use forenoon_desk::DayInputs;
use forenoon_desk::StoredPlan;
use forenoon_desk::problem::DayProblem;
use forenoon_desk::warm::warm_start;
use forenoon_planner::value::WhatIf;
use forenoon_planner::{Cost, CrewIx, JobIx, Plan, Seconds, UnitIx};
use forenoon_store::Database;

use super::KnownRoads;
use super::assess::{Standing, standing_in_its_day};
use super::learning::Learning;
use super::make::no_problem;
use super::solve::{SearchSettings, Searches, Turn, Wanted};
use crate::work::{Error, Reason};

/// A change to try. Ids are within the branch.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Change {
    /// A job is not wanted.
    WithoutJob(String),
    /// One more unit like this one.
    OneMoreLike(String),
    /// A crew's shift ends later.
    LongerShift {
        /// The crew.
        crew: String,
        /// By how much.
        seconds: Seconds,
    },
}

/// What to try on which plan.
#[derive(Clone, Debug)]
pub struct TryRequest {
    /// The branch.
    pub branch: String,
    /// The plan.
    pub plan: String,
    /// The change.
    pub change: Change,
    /// How to search, each time.
    pub settings: SearchSettings,
    /// Units whose service is due stay in.
    pub service_due_keeps_in: bool,
}

/// What a change would bring.
#[derive(Clone, Debug)]
pub struct Tried {
    /// Cost without and with the change, points.
    pub cost_points: [i64; 2],
    /// Overtime without and with the change, seconds.
    pub overtime_seconds: [Seconds; 2],
    /// Jobs that are done with it alone.
    pub jobs_gained: Vec<String>,
    /// Jobs that are done without it alone.
    pub jobs_lost: Vec<String>,
}

/// Searches on from a plan as it stands, without and with the change. Stores nothing.
///
/// # Errors
/// [`Error::NotFound`] where the plan is not there, a violation where the change names what the day does not have, and
/// obstacles where there is nothing to plan.
pub async fn try_change(
    database: &Database,
    (searches, learning, roads): (&Searches, &Learning, &KnownRoads),
    now: DateTime<Utc>,
    request: &TryRequest,
) -> Result<Tried, Error> {
    let standing = Standing {
        branch: &request.branch,
        plan: &request.plan,
        service_due_keeps_in: request.service_due_keeps_in,
    };
    let (stored, inputs) = standing_in_its_day(database, (learning, roads), now, standing).await?;
    let request = request.clone();
    searches
        .turn(Wanted::Plan, request.settings, move |turn| {
            tried(turn, &inputs, &stored, &request)
        })
        .await
}

fn tried(
    turn: &Turn,
    inputs: &DayInputs,
    stored: &StoredPlan,
    request: &TryRequest,
) -> Result<Tried, Error> {
    let day = DayProblem::until(inputs, turn.cancel())
        .map_err(|error| no_problem(&request.branch, error))?;
    let change = in_numbers(&day, &request.change)?;
    let before = warm_start(inputs, &day, stored);
    let value = turn.what_if(&day.problem, &before, change);
    turn.is_awaited()?;
    let [without, with] = [&value.base, &value.plan].map(|plan| planned(&day, plan));
    let only =
        |one: &BTreeSet<String>, other: &BTreeSet<String>| one.difference(other).cloned().collect();
    Ok(Tried {
        cost_points: [value.without, value.with].map(Cost::minor_units),
        overtime_seconds: [&value.base, &value.plan].map(overtime),
        jobs_gained: only(&with, &without),
        jobs_lost: only(&without, &with),
    })
}

/// The change in the planner's numbers.
fn in_numbers(day: &DayProblem, change: &Change) -> Result<WhatIf, Error> {
    let find = |ids: &[String], id: &str, field: &str, what: &str| {
        ids.iter().position(|known| known == id).ok_or_else(|| {
            Error::violation(
                field,
                Reason::UnknownReference,
                format!("the day has no {what} {id:?}"),
            )
        })
    };
    Ok(match change {
        Change::WithoutJob(job) => WhatIf::WithoutJob(JobIx::from_ix(find(
            &day.job_ids,
            job,
            "without_job",
            "job",
        )?)),
        Change::OneMoreLike(unit) => {
            let what = "unit to load";
            WhatIf::OneMoreUnit(UnitIx::from_ix(find(
                &day.unit_ids,
                unit,
                "one_more_like",
                what,
            )?))
        }
        Change::LongerShift { crew, seconds } => WhatIf::LongerShift {
            crew: CrewIx::from_ix(find(&day.crew_ids, crew, "longer_shift.crew", "crew")?),
            seconds: *seconds,
        },
    })
}

fn planned(day: &DayProblem, plan: &Plan) -> BTreeSet<String> {
    let stops = plan.crews.iter().flat_map(|crew| &crew.stops);
    stops
        .filter_map(forenoon_planner::plan::Stop::job)
        .map(|job| day.job_id(job).to_owned())
        .collect()
}

fn overtime(plan: &Plan) -> Seconds {
    plan.crews
        .iter()
        .map(|crew| crew.totals.overtime_seconds)
        .sum()
}
