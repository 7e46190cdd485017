//! Which day is at work: past midnight it may still be the one before.

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use forenoon_store::entity::{branch, plan, plan_crew_day};
use forenoon_store::sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, Select};
use forenoon_store::value::PlanState;

use super::read::published_row;
use crate::work::{Error, branch as branches, visit};

/// How long after its midnight a day can still be gone on with, in seconds.
pub(super) const LATE_MAX: i64 = 6 * 3_600;

/// The published plans that crews are at work by, or are to be.
///
/// # Errors
/// Those of the database.
pub(crate) async fn plans_at_work(
    connection: &impl ConnectionTrait,
    branch: &branch::Model,
    now: DateTime<Utc>,
) -> Result<Select<plan::Entity>, Error> {
    let first = first_day_at_work(connection, branch, now).await?;
    Ok(plan::Entity::find()
        .filter(plan::Column::BranchId.eq(branch.id.as_str()))
        .filter(plan::Column::State.eq(PlanState::Published))
        .filter(plan::Column::Day.gte(first)))
}

/// The first day whose plan crews may still be at work by: the branch's day, or in the hours after midnight the day before, as
/// long as a crew of it is to come back later or is at a job by its own reports.
async fn first_day_at_work(
    connection: &impl ConnectionTrait,
    branch: &branch::Model,
    now: DateTime<Utc>,
) -> Result<NaiveDate, Error> {
    let today = branches::local_day(branch, now)?;
    let before = branches::local_day(branch, now - TimeDelta::seconds(LATE_MAX))?;
    if before < today && is_at_work(connection, &branch.id, before, now).await? {
        Ok(before)
    } else {
        Ok(today)
    }
}

async fn is_at_work(
    connection: &impl ConnectionTrait,
    branch: &str,
    day: NaiveDate,
    now: DateTime<Utc>,
) -> Result<bool, Error> {
    let Some(plan) = published_row(connection, branch, day).await? else {
        return Ok(false);
    };
    let on_the_road = plan_crew_day::Entity::find()
        .filter(plan_crew_day::Column::BranchId.eq(branch))
        .filter(plan_crew_day::Column::PlanId.eq(plan.id.as_str()))
        .filter(plan_crew_day::Column::ReturnTime.gt(now))
        .one(connection)
        .await?;
    if on_the_road.is_some() {
        return Ok(true);
    }
    let visits = visit::list(connection, branch, day).await?;
    Ok(visits.iter().any(|visit| visit.finish_time.is_none()))
}
