//! Changes a crew.

use chrono::{DateTime, Utc};
use forenoon_store::entity::crew;
use forenoon_store::sea_orm::DatabaseTransaction;

use super::{CrewNow, KINDS, check_references, check_shared_units, get, name, with_workers};
use crate::work::{Accepted, Command, Edit, Error, Seen, put, refuse_stale, refuse_violations};

/// Changes a crew.
pub struct UpdateCrew {
    /// The branch.
    pub branch: String,
    /// The last part of its name.
    pub id: String,
    /// What the caller has seen of it; none where they do not mind.
    pub seen: Option<Seen>,
    /// What to make of the crew as it is.
    pub edit: Box<Edit<crew::Model>>,
}

impl Command for UpdateCrew {
    type Answer = CrewNow;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<CrewNow>, Error> {
        let before = get(transaction, &self.branch, &self.id).await?;
        let name = name(&self.branch, &self.id);
        refuse_stale(self.seen, &before, &name)?;
        let after = (self.edit)(&before)?;
        let mut violations = check_references(transaction, &after).await?;
        violations.extend(check_shared_units(transaction, &after).await?);
        refuse_violations(violations)?;
        let put = put::<crew::Entity>(transaction, Some(before), after, now).await?;
        let changes = put.change(name, KINDS)?.into_iter().collect();
        Ok(Accepted {
            answer: with_workers(transaction, put.into_row()).await?,
            changes,
        })
    }
}
