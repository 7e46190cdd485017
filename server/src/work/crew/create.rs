//! Creates a crew.

use chrono::{DateTime, Utc};
use forenoon_store::entity::crew;
use forenoon_store::sea_orm::DatabaseTransaction;

use super::{CrewNow, KINDS, check_references, check_shared_units, find, name, with_workers};
use crate::work::{Accepted, Command, Error, branch, put, refuse_violations};

/// Creates a crew.
pub struct CreateCrew {
    /// The crew; its revision and times are set here.
    pub crew: crew::Model,
}

impl Command for CreateCrew {
    type Answer = CrewNow;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<CrewNow>, Error> {
        let row = self.crew.clone();
        branch::get(transaction, &row.branch_id).await?;
        let name = name(&row.branch_id, &row.id);
        if find(transaction, &row.branch_id, &row.id).await?.is_some() {
            return Err(Error::AlreadyExists { name });
        }
        let mut violations = check_references(transaction, &row).await?;
        violations.extend(check_shared_units(transaction, &row).await?);
        refuse_violations(violations)?;
        let put = put::<crew::Entity>(transaction, None, row, now).await?;
        let changes = put.change(name, KINDS)?.into_iter().collect();
        Ok(Accepted {
            answer: with_workers(transaction, put.into_row()).await?,
            changes,
        })
    }
}
