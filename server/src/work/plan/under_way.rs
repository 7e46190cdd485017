//! Whether crews are at work by a published plan.

use chrono::{DateTime, Utc};
use forenoon_store::entity::{crew_load, plan, plan_crew_day, plan_stop, visit};
use forenoon_store::sea_orm::{
    ColumnTrait, Condition, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect,
    QueryTrait,
};
use forenoon_store::value::PlanState;

use super::day::clock;
use crate::work::{Error, branch as branches};

/// What shows that crews are at work by the plan, in words, as "ash has set out by it"; none where they are not. A crew
/// that has loaded is: what it has aboard would be another's by a plan that does not know of it.
///
/// # Errors
/// Those of the database.
pub(super) async fn under_way(
    connection: &impl ConnectionTrait,
    plan: &plan::Model,
    now: DateTime<Utc>,
) -> Result<Option<String>, Error> {
    let branch = branches::get(connection, &plan.branch_id).await?;
    let clock = clock(&branch, plan.day)?;
    if let Some(crew) = set_out(connection, plan, clock.instant(0)).await? {
        return Ok(Some(format!("{crew} has set out by it")));
    }
    if let Some(crew) = loaded(connection, plan).await? {
        return Ok(Some(format!("{crew} has loaded for it")));
    }
    let first: Option<plan_crew_day::Model> = plan_crew_day::Entity::find()
        .filter(plan_crew_day::Column::BranchId.eq(plan.branch_id.as_str()))
        .filter(plan_crew_day::Column::PlanId.eq(plan.id.as_str()))
        .filter(plan_crew_day::Column::DepartTime.lte(now))
        .order_by_asc(plan_crew_day::Column::DepartTime)
        .one(connection)
        .await?;
    Ok(first.and_then(|first| {
        let depart = clock.words(first.depart_time?);
        Some(format!(
            "{} was to leave by it at {depart}",
            first.crew_display_name
        ))
    }))
}

/// A crew that has reported from one of the plan's jobs since its day began.
async fn set_out(
    connection: &impl ConnectionTrait,
    plan: &plan::Model,
    day_begins: DateTime<Utc>,
) -> Result<Option<String>, Error> {
    let jobs = plan_stop::Entity::find()
        .filter(plan_stop::Column::BranchId.eq(plan.branch_id.as_str()))
        .filter(plan_stop::Column::PlanId.eq(plan.id.as_str()))
        .select_only()
        .column(plan_stop::Column::JobId)
        .into_query();
    let since = |column: visit::Column| column.gte(day_begins);
    Ok(visit::Entity::find()
        .filter(visit::Column::BranchId.eq(plan.branch_id.as_str()))
        .filter(visit::Column::JobId.in_subquery(jobs))
        .filter(
            Condition::any()
                .add(since(visit::Column::DepartTime))
                .add(since(visit::Column::ArriveTime))
                .add(since(visit::Column::StartTime)),
        )
        .order_by_asc(visit::Column::JobId)
        .select_only()
        .column(visit::Column::CrewId)
        .into_tuple()
        .one(connection)
        .await?)
}

/// A crew that has loaded for the plan, or for one of the day that was published before it.
async fn loaded(
    connection: &impl ConnectionTrait,
    plan: &plan::Model,
) -> Result<Option<String>, Error> {
    let of_the_day = plan::Entity::find()
        .filter(plan::Column::BranchId.eq(plan.branch_id.as_str()))
        .filter(plan::Column::Day.eq(plan.day))
        .filter(plan::Column::State.is_in([PlanState::Published, PlanState::Replaced]))
        .select_only()
        .column(plan::Column::Id)
        .into_query();
    Ok(crew_load::Entity::find()
        .filter(crew_load::Column::BranchId.eq(plan.branch_id.as_str()))
        .filter(crew_load::Column::PlanId.in_subquery(of_the_day))
        .order_by_asc(crew_load::Column::CrewId)
        .select_only()
        .column(crew_load::Column::CrewId)
        .into_tuple()
        .one(connection)
        .await?)
}
