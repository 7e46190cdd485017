//! Creates a branch.

use chrono::{DateTime, Utc};
use forenoon_store::Revisioned;
use forenoon_store::entity::branch;
use forenoon_store::sea_orm::DatabaseTransaction;

use super::{find, name};
use crate::work::{Accepted, Change, Command, Error, row};

/// Creates a branch.
pub struct CreateBranch {
    /// The branch; its revision and times are set here.
    pub branch: branch::Model,
}

impl Command for CreateBranch {
    type Answer = branch::Model;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<branch::Model>, Error> {
        let mut row = self.branch.clone();
        let name = name(&row.id);
        if find(transaction, &row.id).await?.is_some() {
            return Err(Error::AlreadyExists { name });
        }
        row.stamp_created(now);
        row::insert(transaction, &row).await?;
        let change = Change::of(name, "branch.created", None, Some(&row))?;
        Ok(Accepted {
            answer: row,
            changes: vec![change],
        })
    }
}
