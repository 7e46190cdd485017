//! Work of earlier days that nobody ended or did, so that a plan tells of it: it is in no window any more.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Days, Utc};
use forenoon_desk::DayInputs;
use forenoon_desk::left_out::LeftOut;
use forenoon_store::entity::{job, visit};
use forenoon_store::sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect,
};
use forenoon_store::value::{JobState, VisitState};

use super::day::clock;
use super::elsewhere::{crew_words, planned_elsewhere};
use crate::work::{Error, branch as branches, crew as crews};

/// Jobs whose last day is longer ago are told no more: nobody agrees on another by now.
const LOOKED_BACK: Days = Days::new(60);
/// Most jobs of each kind that are told: more would hide the day's own.
const TOLD_MAX: u64 = 100;

/// Jobs that a crew began on a day before today and whose end nobody reported, and open jobs whose last day has passed.
///
/// # Errors
/// Those of the database.
pub(super) async fn unfinished(
    connection: &impl ConnectionTrait,
    inputs: &DayInputs,
    now: DateTime<Utc>,
) -> Result<Vec<LeftOut>, Error> {
    let mut found = under_way(connection, inputs, now).await?;
    found.extend(window_over(connection, inputs, now).await?);
    Ok(found)
}

async fn under_way(
    connection: &impl ConnectionTrait,
    inputs: &DayInputs,
    now: DateTime<Utc>,
) -> Result<Vec<LeftOut>, Error> {
    let branch = inputs.branch.id.as_str();
    let running: BTreeMap<String, job::Model> = job::Entity::find()
        .filter(job::Column::BranchId.eq(branch))
        .filter(job::Column::State.eq(JobState::Running))
        .order_by_asc(job::Column::Id)
        .limit(TOLD_MAX)
        .all(connection)
        .await?
        .into_iter()
        .map(|job| (job.id.clone(), job))
        .collect();
    if running.is_empty() {
        return Ok(Vec::new());
    }
    let today = clock(&inputs.branch, branches::local_day(&inputs.branch, now)?)?;
    let visits = visit::Entity::find()
        .filter(visit::Column::BranchId.eq(branch))
        .filter(visit::Column::JobId.is_in(running.keys()))
        .filter(visit::Column::State.is_in([VisitState::Working, VisitState::Paused]))
        .filter(visit::Column::StartTime.lt(today.instant(0)))
        .order_by_asc(visit::Column::JobId)
        .all(connection)
        .await?;
    Ok(visits
        .into_iter()
        .filter_map(|visit| {
            let job = running.get(&visit.job_id)?.clone();
            let name = crews::name(branch, &visit.crew_id);
            let crew = (crew_words(inputs, &visit.crew_id), name);
            Some(LeftOut::under_way(job, visit.start_time?, &today, crew))
        })
        .collect())
}

async fn window_over(
    connection: &impl ConnectionTrait,
    inputs: &DayInputs,
    now: DateTime<Utc>,
) -> Result<Vec<LeftOut>, Error> {
    let day = inputs.clock.day();
    let until = branches::local_day(&inputs.branch, now)?.min(day);
    let from = until.checked_sub_days(LOOKED_BACK).unwrap_or(until);
    let over = job::Entity::find()
        .filter(job::Column::BranchId.eq(inputs.branch.id.as_str()))
        .filter(job::Column::State.eq(JobState::Open))
        .filter(job::Column::LastDay.gte(from))
        .filter(job::Column::LastDay.lt(until))
        .order_by_desc(job::Column::LastDay)
        .order_by_asc(job::Column::Id)
        .limit(TOLD_MAX)
        .all(connection)
        .await?;
    let ids: BTreeSet<&str> = over.iter().map(|job| job.id.as_str()).collect();
    let elsewhere = planned_elsewhere(connection, &inputs.branch, day, now, &ids).await?;
    Ok(over
        .into_iter()
        .filter(|job| !elsewhere.contains_key(&job.id))
        .map(LeftOut::window_over)
        .collect())
}
