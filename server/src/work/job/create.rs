//! Creates a job.

use chrono::{DateTime, Utc};
use forenoon_store::entity::{branch, job};
use forenoon_store::sea_orm::DatabaseTransaction;

use super::{KINDS, find, fit_to_site, name};
use crate::work::{self, Accepted, Command, Error, put};

/// Creates a job. Its tasks are composed where it has none.
pub struct CreateJob {
    /// The branch it was read against.
    pub branch: branch::Model,
    /// The job; its revision and times are set here.
    pub job: job::Model,
}

impl Command for CreateJob {
    type Answer = job::Model;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<job::Model>, Error> {
        let row = self.job.clone();
        work::branch::refuse_moved(transaction, &self.branch).await?;
        let name = name(&row.branch_id, &row.id);
        if find(transaction, &row.branch_id, &row.id).await?.is_some() {
            return Err(Error::AlreadyExists { name });
        }
        let site = work::site::find(transaction, &row.branch_id, &row.site_id).await?;
        let row = fit_to_site(row, site.as_ref()).map_err(Error::Invalid)?;
        let put = put::<job::Entity>(transaction, None, row, now).await?;
        let changes = put.change(name, KINDS)?.into_iter().collect();
        Ok(Accepted {
            answer: put.into_row(),
            changes,
        })
    }
}
