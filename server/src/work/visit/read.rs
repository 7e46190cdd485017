//! Reads visits.

use forenoon_store::entity::{plan, visit};
use forenoon_store::sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder};

use crate::work::Error;

/// The visits of a plan's day, by whatever revision they were done, in order of their start.
///
/// # Errors
/// Those of the database.
pub async fn list(
    connection: &impl ConnectionTrait,
    plan: &plan::Model,
) -> Result<Vec<visit::Model>, Error> {
    let revisions: Vec<String> = plan::Entity::find()
        .filter(plan::Column::BranchId.eq(plan.branch_id.as_str()))
        .filter(plan::Column::Day.eq(plan.day))
        .all(connection)
        .await?
        .into_iter()
        .map(|row| row.id)
        .collect();
    Ok(visit::Entity::find()
        .filter(visit::Column::BranchId.eq(plan.branch_id.as_str()))
        .filter(visit::Column::PlanId.is_in(revisions))
        .order_by_asc(visit::Column::StartTime)
        .order_by_asc(visit::Column::JobId)
        .all(connection)
        .await?)
}
