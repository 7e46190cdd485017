//! Publishes a draft, replacing the day's earlier published plan.

use chrono::{DateTime, Utc};
use forenoon_desk::StoredPlan;
use forenoon_store::sea_orm::DatabaseTransaction;
use forenoon_store::value::PlanState;

use super::accept::refuse_changed;
use super::hand_over::hand_over;
use super::name;
use super::obstacles::obstacles;
use super::read::{load, published_row};
use super::split::split;
use super::throw_away::throw_others_away;
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
        if draft.plan.base_plan_id.is_some() && draft.plan.state == PlanState::Draft {
            refuse_changed(transaction, &draft).await?;
        }
        publish(transaction, draft, now).await
    }
}

/// Publishes a draft, and answers with it as it is then. What was published for the day is replaced by it.
///
/// # Errors
/// Obstacles where it is no draft, where another plan was published for the day since it was made, where a unit of it is
/// tagged out, a job of it is no more to be done or another day's by now, and where something of it has gone.
pub(super) async fn publish(
    transaction: &DatabaseTransaction,
    draft: StoredPlan,
    now: DateTime<Utc>,
) -> Result<Accepted<StoredPlan>, Error> {
    let earlier = published_row(transaction, &draft.plan.branch_id, draft.plan.day).await?;
    let obstacles = obstacles(transaction, &draft, earlier.as_ref(), now).await?;
    if !obstacles.is_empty() {
        return Err(Error::Obstructed(obstacles));
    }
    lay_out(transaction, &draft).await?;
    let mut changes = throw_others_away(transaction, &draft.plan, now).await?;
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
