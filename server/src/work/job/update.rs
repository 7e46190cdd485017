//! Changes a job.

use chrono::{DateTime, Utc};
use forenoon_store::entity::{branch, job};
use forenoon_store::sea_orm::DatabaseTransaction;
use forenoon_store::value::JobState;

use super::{KINDS, fit_changed, get, name, refuse_moved_while_running};
use crate::work::{self, Accepted, Command, Edit, Error, ObstacleKind, Seen, put, refuse_stale};

/// Changes a job that is still to be done.
pub struct UpdateJob {
    /// The branch it was read against.
    pub branch: branch::Model,
    /// The last part of its name.
    pub id: String,
    /// What the caller has seen of it; none where they do not mind.
    pub seen: Option<Seen>,
    /// What to make of the job as it is.
    pub edit: Box<Edit<job::Model>>,
}

impl Command for UpdateJob {
    type Answer = job::Model;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<job::Model>, Error> {
        work::branch::refuse_moved(transaction, &self.branch).await?;
        let before = get(transaction, &self.branch.id, &self.id).await?;
        let name = name(&self.branch.id, &self.id);
        refuse_stale(self.seen, &before, &name)?;
        if matches!(before.state, JobState::Done | JobState::Cancelled) {
            return Err(Error::obstacle(
                ObstacleKind::NotOpen,
                name,
                "it is done or was called off, and does not change any more; create another job",
            ));
        }
        let after = (self.edit)(&before)?;
        refuse_moved_while_running(&before, &after)?;
        let after = fit_changed(transaction, &before, after).await?.job;
        let put = put::<job::Entity>(transaction, Some(before), after, now).await?;
        let changes = put.change(name, KINDS)?.into_iter().collect();
        Ok(Accepted {
            answer: put.into_row(),
            changes,
        })
    }
}
