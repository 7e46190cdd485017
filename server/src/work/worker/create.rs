//! Creates a worker.

use chrono::{DateTime, Utc};
use forenoon_store::entity::{branch, worker};
use forenoon_store::sea_orm::DatabaseTransaction;

use super::{KINDS, check_references, find, name};
use crate::work::{self, Accepted, Command, Error, put, refuse_violations};

/// Creates a worker.
pub struct CreateWorker {
    /// The branch it was read against.
    pub branch: branch::Model,
    /// The worker; its revision and times are set here.
    pub worker: worker::Model,
}

impl Command for CreateWorker {
    type Answer = worker::Model;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<worker::Model>, Error> {
        let row = self.worker.clone();
        work::branch::refuse_moved(transaction, &self.branch).await?;
        let name = name(&row.branch_id, &row.id);
        if find(transaction, &row.branch_id, &row.id).await?.is_some() {
            return Err(Error::AlreadyExists { name });
        }
        refuse_violations(check_references(transaction, &row).await?)?;
        let put = put::<worker::Entity>(transaction, None, row, now).await?;
        let changes = put.change(name, KINDS)?.into_iter().collect();
        Ok(Accepted {
            answer: put.into_row(),
            changes,
        })
    }
}
