//! Changes a unit.

use chrono::{DateTime, Utc};
use forenoon_store::entity::{branch, unit};
use forenoon_store::sea_orm::DatabaseTransaction;

use super::{KINDS, UnitNow, check_references, get, name, ties_in_the_way, with_tag};
use crate::work::{
    self, Accepted, Command, Edit, Error, Seen, put, referrers, refuse_stale, refuse_violations,
};

/// Changes a unit.
pub struct UpdateUnit {
    /// The branch the change was read against.
    pub branch: branch::Model,
    /// The last part of its name.
    pub id: String,
    /// What the caller has seen of it; none where they do not mind.
    pub seen: Option<Seen>,
    /// What to make of the unit as it is.
    pub edit: Box<Edit<unit::Model>>,
}

impl Command for UpdateUnit {
    type Answer = UnitNow;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<UnitNow>, Error> {
        work::branch::refuse_moved(transaction, &self.branch).await?;
        let before = get(transaction, &self.branch.id, &self.id).await?;
        let name = name(&self.branch.id, &self.id);
        refuse_stale(self.seen, &before, &name)?;
        let after = (self.edit)(&before)?;
        refuse_violations(check_references(transaction, &after).await?)?;
        referrers::refuse(ties_in_the_way(transaction, &after, now).await?)?;
        let put = put::<unit::Entity>(transaction, Some(before), after, now).await?;
        let changes = put.change(name, KINDS)?.into_iter().collect();
        Ok(Accepted {
            answer: with_tag(transaction, put.into_row()).await?,
            changes,
        })
    }
}
