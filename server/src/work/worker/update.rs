//! Changes a worker.

use chrono::{DateTime, Utc};
use forenoon_store::entity::{branch, worker};
use forenoon_store::sea_orm::DatabaseTransaction;

use super::{KINDS, check_references, get, name};
use crate::work::{
    self, Accepted, Command, Edit, Error, Seen, put, refuse_stale, refuse_violations,
};

/// Changes a worker.
pub struct UpdateWorker {
    /// The branch the change was read against.
    pub branch: branch::Model,
    /// The last part of its name.
    pub id: String,
    /// What the caller has seen of it; none where they do not mind.
    pub seen: Option<Seen>,
    /// What to make of the worker as it is.
    pub edit: Box<Edit<worker::Model>>,
}

impl Command for UpdateWorker {
    type Answer = worker::Model;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<worker::Model>, Error> {
        work::branch::refuse_moved(transaction, &self.branch).await?;
        let before = get(transaction, &self.branch.id, &self.id).await?;
        let name = name(&self.branch.id, &self.id);
        refuse_stale(self.seen, &before, &name)?;
        let after = (self.edit)(&before)?;
        refuse_violations(check_references(transaction, &after).await?)?;
        let put = put::<worker::Entity>(transaction, Some(before), after, now).await?;
        let changes = put.change(name, KINDS)?.into_iter().collect();
        Ok(Accepted {
            answer: put.into_row(),
            changes,
        })
    }
}
