//! Whether a proposal lay about until crews should have gone by it: what it moves would count as begun by crews that nobody
//! told of it.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use forenoon_desk::StoredPlan;
use forenoon_store::entity::plan_stop;
use forenoon_store::sea_orm::{ColumnTrait, DatabaseTransaction, EntityTrait, QueryFilter};

use super::name;
use super::overtaken::LEAVES_LATE_MAX;
use crate::work::{Error, Obstacle, ObstacleKind};

/// The earliest stop that the proposal gives to another crew, or has begin earlier, than the plan `base` that it goes on from,
/// where it should have begun since the proposal was made, and not just now. What is told for a time that was over already is
/// for the record.
///
/// # Errors
/// Those of the database.
pub(super) async fn untold(
    transaction: &DatabaseTransaction,
    proposal: &StoredPlan,
    base: &str,
    now: DateTime<Utc>,
) -> Result<Option<Obstacle>, Error> {
    let plan = &proposal.plan;
    let mut passed: Vec<&plan_stop::Model> = proposal
        .parts
        .stops
        .iter()
        .filter(|stop| !stop.fixed && plan.create_time < stop.start_time)
        .filter(|stop| stop.start_time + LEAVES_LATE_MAX < now)
        .collect();
    if passed.is_empty() {
        return Ok(None);
    }
    passed.sort_by_key(|stop| stop.start_time);
    let before: BTreeMap<String, plan_stop::Model> = plan_stop::Entity::find()
        .filter(plan_stop::Column::BranchId.eq(plan.branch_id.as_str()))
        .filter(plan_stop::Column::PlanId.eq(base))
        .all(transaction)
        .await?
        .into_iter()
        .map(|stop| (stop.job_id.clone(), stop))
        .collect();
    let is_moved = |stop: &&&plan_stop::Model| {
        before.get(&stop.job_id).is_none_or(|before| {
            before.crew_id != stop.crew_id || stop.start_time < before.start_time
        })
    };
    Ok(passed.iter().find(is_moved).map(|stop| Obstacle {
        kind: ObstacleKind::DayChanged,
        subject: name(&plan.branch_id, &plan.id),
        description: format!(
            "{} should have gone by it meanwhile, to job {} more than {} minutes ago; re-plan",
            stop.crew_id,
            stop.job_id,
            LEAVES_LATE_MAX.num_minutes()
        ),
    }))
}
