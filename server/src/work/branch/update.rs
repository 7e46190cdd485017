//! Changes a branch.

use chrono::{DateTime, Utc};
use forenoon_store::Revisioned;
use forenoon_store::entity::{branch, plan, unit, worker};
use forenoon_store::sea_orm::{
    ColumnTrait, DatabaseTransaction, EntityTrait, QueryFilter, QuerySelect,
};

use super::{get, name};
use crate::work::{Accepted, Change, Command, Edit, Error, ObstacleKind, Seen, refuse_stale, row};

/// Changes a branch.
pub struct UpdateBranch {
    /// The last part of its name.
    pub id: String,
    /// What the caller has seen of it; none where they do not mind.
    pub seen: Option<Seen>,
    /// What to make of the branch as it is.
    pub edit: Box<Edit<branch::Model>>,
}

impl Command for UpdateBranch {
    type Answer = branch::Model;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<branch::Model>, Error> {
        let before = get(transaction, &self.id).await?;
        let name = name(&self.id);
        refuse_stale(self.seen, &before, &name)?;
        let mut after = (self.edit)(&before)?;
        after.carry_stamp(&before);
        if after == before {
            return Ok(Accepted {
                answer: before,
                changes: vec![],
            });
        }
        refuse_broken_ties(transaction, &before, &after).await?;
        after.stamp_changed(&before, now);
        row::update(transaction, &before, &after).await?;
        let change = Change::of(name, "branch.changed", Some(&before), Some(&after))?;
        Ok(Accepted {
            answer: after,
            changes: vec![change],
        })
    }
}

/// Plans are in the branch's zone, and money is in its currency: neither changes under them.
async fn refuse_broken_ties(
    transaction: &DatabaseTransaction,
    before: &branch::Model,
    after: &branch::Model,
) -> Result<(), Error> {
    if before.time_zone != after.time_zone && has_plans(transaction, &before.id).await? {
        return Err(Error::obstacle(
            ObstacleKind::TimeZoneInUse,
            name(&before.id),
            "the time zone is fixed once plans exist; create another branch for another zone",
        ));
    }
    if before.currency_code != after.currency_code && has_money(transaction, &before.id).await? {
        return Err(Error::obstacle(
            ObstacleKind::CurrencyInUse,
            name(&before.id),
            "units, workers or jobs have amounts in the present currency; remove these first",
        ));
    }
    Ok(())
}

async fn has_plans(transaction: &DatabaseTransaction, id: &str) -> Result<bool, Error> {
    let one = plan::Entity::find()
        .filter(plan::Column::BranchId.eq(id))
        .limit(1)
        .one(transaction)
        .await?;
    Ok(one.is_some())
}

async fn has_money(transaction: &DatabaseTransaction, id: &str) -> Result<bool, Error> {
    use forenoon_store::entity::job;
    let unit = unit::Entity::find()
        .filter(unit::Column::BranchId.eq(id))
        .filter(unit::Column::PurchasePriceMinor.is_not_null())
        .limit(1)
        .one(transaction)
        .await?;
    let worker = worker::Entity::find()
        .filter(worker::Column::BranchId.eq(id))
        .filter(worker::Column::CostPerHourMinor.is_not_null())
        .limit(1)
        .one(transaction)
        .await?;
    let job = job::Entity::find()
        .filter(job::Column::BranchId.eq(id))
        .filter(job::Column::PriceMinor.is_not_null())
        .limit(1)
        .one(transaction)
        .await?;
    Ok(unit.is_some() || worker.is_some() || job.is_some())
}
