//! Creates a site.

use chrono::{DateTime, Utc};
use forenoon_store::entity::site;
use forenoon_store::sea_orm::DatabaseTransaction;

use super::{KINDS, find, name};
use crate::work::{Accepted, Command, Error, branch, put};

/// Creates a site.
pub struct CreateSite {
    /// The site; its revision and times are set here.
    pub site: site::Model,
}

impl Command for CreateSite {
    type Answer = site::Model;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<site::Model>, Error> {
        let row = self.site.clone();
        branch::get(transaction, &row.branch_id).await?;
        let name = name(&row.branch_id, &row.id);
        if find(transaction, &row.branch_id, &row.id).await?.is_some() {
            return Err(Error::AlreadyExists { name });
        }
        let put = put::<site::Entity>(transaction, None, row, now).await?;
        let changes = put.change(name, KINDS)?.into_iter().collect();
        Ok(Accepted {
            answer: put.into_row(),
            changes,
        })
    }
}
