//! Throws a draft away.

use chrono::{DateTime, Utc};
use forenoon_desk::StoredPlan;
use forenoon_store::sea_orm::DatabaseTransaction;
use forenoon_store::value::PlanState;

use super::name;
use super::read::{get, load};
use super::throw_away::throw_away;
use crate::work::{Accepted, Command, Error, ObstacleKind, Seen, refuse_stale};

/// Throws a draft away.
pub struct DiscardPlan {
    /// The branch.
    pub branch: String,
    /// The plan.
    pub id: String,
    /// What the caller has seen of it; none where they do not mind.
    pub seen: Option<Seen>,
}

impl Command for DiscardPlan {
    type Answer = StoredPlan;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<StoredPlan>, Error> {
        let draft = get(transaction, &self.branch, &self.id).await?;
        let name = name(&self.branch, &self.id);
        refuse_stale(self.seen, &draft, &name)?;
        if draft.state != PlanState::Draft {
            return Err(Error::obstacle(
                ObstacleKind::NotADraft,
                name,
                "only a draft can be thrown away",
            ));
        }
        // Its document goes as with every draft thrown away; the answer is the last to have its stops.
        let StoredPlan { parts, .. } = load(transaction, &self.branch, &self.id).await?;
        let changes = throw_away(transaction, vec![draft], now).await?;
        let plan = get(transaction, &self.branch, &self.id).await?;
        Ok(Accepted {
            answer: StoredPlan { plan, parts },
            changes,
        })
    }
}
