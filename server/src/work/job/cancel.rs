//! Calls a job off.

use chrono::{DateTime, Utc};
use forenoon_store::Revisioned;
use forenoon_store::entity::{job, visit};
use forenoon_store::sea_orm::{ColumnTrait, DatabaseTransaction, EntityTrait, QueryFilter};
use forenoon_store::value::{JobState, VisitState};

use super::{get, name};
use crate::work::visit::end_undone;
use crate::work::{Accepted, Change, Command, Error, ObstacleKind, Seen, refuse_stale, row};

/// Calls a job off that nobody has begun.
pub struct CancelJob {
    /// The branch.
    pub branch: String,
    /// The last part of its name.
    pub id: String,
    /// Why, in words.
    pub reason: String,
    /// What the caller has seen of it; none where they do not mind.
    pub seen: Option<Seen>,
}

impl Command for CancelJob {
    type Answer = job::Model;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<job::Model>, Error> {
        let before = get(transaction, &self.branch, &self.id).await?;
        let name = name(&self.branch, &self.id);
        refuse_stale(self.seen, &before, &name)?;
        let in_the_way = match before.state {
            JobState::Open => None,
            JobState::Running => Some("a crew is at it; let them report the end"),
            JobState::Done => Some("it is done"),
            JobState::Cancelled => Some("it was called off already"),
        };
        if let Some(words) = in_the_way {
            return Err(Error::obstacle(ObstacleKind::NotOpen, name, words));
        }
        let mut after = before.clone();
        after.state = JobState::Cancelled;
        after.cancel_reason.clone_from(&self.reason);
        after.stamp_changed(&before, now);
        row::update(transaction, &before, &after).await?;
        let mut changes = vec![Change::of(
            name,
            "job.cancelled",
            Some(&before),
            Some(&after),
        )?];
        // Who is on the way, or there and has not begun, does not come: otherwise the visit would never be over.
        for visit in self.on_the_way(transaction).await? {
            let reason = format!("called off: {}", self.reason);
            changes.push(end_undone(transaction, &visit, reason, None, now).await?);
        }
        Ok(Accepted {
            answer: after,
            changes,
        })
    }
}

impl CancelJob {
    /// Visits to the job that are not over. Nobody has begun it.
    async fn on_the_way(
        &self,
        transaction: &DatabaseTransaction,
    ) -> Result<Vec<visit::Model>, Error> {
        Ok(visit::Entity::find()
            .filter(visit::Column::BranchId.eq(self.branch.as_str()))
            .filter(visit::Column::JobId.eq(self.id.as_str()))
            .filter(visit::Column::State.is_not_in([VisitState::Done, VisitState::NotDone]))
            .all(transaction)
            .await?)
    }
}
