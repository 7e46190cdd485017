//! Publishes a draft, replacing the day's earlier published plan.

use chrono::{DateTime, Utc};
use forenoon_desk::StoredPlan;
use forenoon_store::entity::plan;
use forenoon_store::sea_orm::{ColumnTrait, DatabaseTransaction, EntityTrait, QueryFilter};
use forenoon_store::value::PlanState;

use super::accept::refuse_changed;
use super::hand_over::hand_over;
use super::name;
use super::obstacles::obstacles;
use super::read::load;
use super::split::split;
use super::write::{lay_out, move_to};
use crate::work::{Accepted, Command, Error, Seen, refuse_stale};

/// Publishes a draft.
pub struct PublishPlan {
    /// The branch.
    pub branch: String,
    /// The plan.
    pub id: String,
    /// What the caller has seen of it; none where they do not mind.
    pub seen: Option<Seen>,
}

impl Command for PublishPlan {
    type Answer = StoredPlan;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<StoredPlan>, Error> {
        let draft = load(transaction, &self.branch, &self.id).await?;
        refuse_stale(self.seen, &draft.plan, &name(&self.branch, &self.id))?;
        if draft.plan.base_plan_id.is_some() {
            refuse_changed(transaction, &draft).await?;
        }
        publish(transaction, draft, now).await
    }
}

/// Publishes a draft, and answers with it as it is then. What was published for the day is replaced by it.
///
/// # Errors
/// Obstacles where it is no draft, a unit of it is tagged out, a job of it was called off, something of it has gone, or
/// the plan it was made from is no longer the published one.
pub(super) async fn publish(
    transaction: &DatabaseTransaction,
    draft: StoredPlan,
    now: DateTime<Utc>,
) -> Result<Accepted<StoredPlan>, Error> {
    let earlier = published_row(transaction, &draft.plan).await?;
    let obstacles = obstacles(transaction, &draft, earlier.as_ref()).await?;
    if !obstacles.is_empty() {
        return Err(Error::Obstructed(obstacles));
    }
    lay_out(transaction, &draft).await?;
    let mut changes = Vec::new();
    if let Some(earlier) = earlier {
        changes.push(
            move_to(transaction, &earlier, PlanState::Replaced, now)
                .await?
                .1,
        );
    }
    changes.extend(hand_over(transaction, &draft, now).await?);
    changes.extend(split(transaction, &draft.plan, now).await?);
    let (plan, change) = move_to(transaction, &draft.plan, PlanState::Published, now).await?;
    changes.push(change);
    Ok(Accepted {
        answer: StoredPlan { plan, ..draft },
        changes,
    })
}

async fn published_row(
    transaction: &DatabaseTransaction,
    draft: &plan::Model,
) -> Result<Option<plan::Model>, Error> {
    Ok(plan::Entity::find()
        .filter(plan::Column::BranchId.eq(draft.branch_id.as_str()))
        .filter(plan::Column::Day.eq(draft.day))
        .filter(plan::Column::State.eq(PlanState::Published))
        .one(transaction)
        .await?)
}
