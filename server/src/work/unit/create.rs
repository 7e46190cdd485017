//! Creates a unit.

use chrono::{DateTime, Utc};
use forenoon_store::entity::{branch, unit};
use forenoon_store::sea_orm::DatabaseTransaction;

use super::{KINDS, UnitNow, check_references, find, name, with_tag};
use crate::work::{self, Accepted, Command, Error, put, refuse_violations};

/// Creates a unit.
pub struct CreateUnit {
    /// The branch it was read against.
    pub branch: branch::Model,
    /// The unit; its revision and times are set here.
    pub unit: unit::Model,
}

impl Command for CreateUnit {
    type Answer = UnitNow;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<UnitNow>, Error> {
        let row = self.unit.clone();
        work::branch::refuse_moved(transaction, &self.branch).await?;
        let name = name(&row.branch_id, &row.id);
        if find(transaction, &row.branch_id, &row.id).await?.is_some() {
            return Err(Error::AlreadyExists { name });
        }
        refuse_violations(check_references(transaction, &row).await?)?;
        let put = put::<unit::Entity>(transaction, None, row, now).await?;
        let changes = put.change(name, KINDS)?.into_iter().collect();
        Ok(Accepted {
            answer: with_tag(transaction, put.into_row()).await?,
            changes,
        })
    }
}
