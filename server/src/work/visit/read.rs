//! Reads visits and loads.

use chrono::NaiveDate;
use forenoon_store::entity::{crew_load, plan, visit};
use forenoon_store::sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect,
};
use forenoon_store::value::PlanState;

use crate::work::Error;

/// The visits of a day, by whatever revision they were done, in the order in which the crews set out or began;
/// an attempt that was given up comes before the next.
///
/// # Errors
/// Those of the database.
pub async fn list(
    connection: &impl ConnectionTrait,
    branch: &str,
    day: NaiveDate,
) -> Result<Vec<visit::Model>, Error> {
    let mut visits = visit::Entity::find()
        .filter(visit::Column::BranchId.eq(branch))
        .filter(visit::Column::PlanId.is_in(revisions(connection, branch, day).await?))
        .all(connection)
        .await?;
    visits.sort_by(|one, two| order(one).cmp(&order(two)));
    Ok(visits)
}

/// The first moment that is known, then job and attempt.
fn order(visit: &visit::Model) -> (Option<chrono::DateTime<chrono::Utc>>, &str, i32) {
    let first = [
        visit.depart_time,
        visit.arrive_time,
        visit.start_time,
        visit.finish_time,
    ];
    (
        first.into_iter().flatten().next(),
        &visit.job_id,
        visit.attempt,
    )
}

/// What crews have loaded for a day, by whatever revision, in order of plan and crew.
///
/// # Errors
/// Those of the database.
pub async fn loads(
    connection: &impl ConnectionTrait,
    branch: &str,
    day: NaiveDate,
) -> Result<Vec<crew_load::Model>, Error> {
    Ok(crew_load::Entity::find()
        .filter(crew_load::Column::BranchId.eq(branch))
        .filter(crew_load::Column::PlanId.is_in(revisions(connection, branch, day).await?))
        .order_by_asc(crew_load::Column::PlanId)
        .order_by_asc(crew_load::Column::CrewId)
        .all(connection)
        .await?)
}

/// Ids of the plans of the day that crews went by.
///
/// # Errors
/// Those of the database.
pub(super) async fn revisions(
    connection: &impl ConnectionTrait,
    branch: &str,
    day: NaiveDate,
) -> Result<Vec<String>, Error> {
    Ok(plan::Entity::find()
        .filter(plan::Column::BranchId.eq(branch))
        .filter(plan::Column::Day.eq(day))
        .filter(plan::Column::State.is_in([PlanState::Published, PlanState::Replaced]))
        .select_only()
        .column(plan::Column::Id)
        .into_tuple()
        .all(connection)
        .await?)
}
