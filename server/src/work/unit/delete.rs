//! Deletes a unit that nothing refers to.

use chrono::{DateTime, Utc};
use forenoon_store::entity::{crew, plan_load_out, tag_out, unit, unit_service};
use forenoon_store::sea_orm::{
    ColumnTrait, Condition, DatabaseTransaction, EntityTrait, QueryFilter,
};

use super::{KINDS, get, name};
use crate::work::{Accepted, Change, Command, Error, Obstacle, Seen, referrers, refuse_stale};

/// Deletes a unit.
pub struct DeleteUnit {
    /// The branch.
    pub branch: String,
    /// The last part of its name.
    pub id: String,
    /// What the caller has seen of it; none where they do not mind.
    pub seen: Option<Seen>,
}

impl Command for DeleteUnit {
    type Answer = ();

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        _now: DateTime<Utc>,
    ) -> Result<Accepted<()>, Error> {
        let row = get(transaction, &self.branch, &self.id).await?;
        let name = name(&self.branch, &self.id);
        refuse_stale(self.seen, &row, &name)?;
        referrers::refuse(referrers_of(transaction, &row).await?)?;
        let key = (self.branch.clone(), self.id.clone());
        unit::Entity::delete_by_id(key).exec(transaction).await?;
        let change = Change::of(name, KINDS.deleted, Some(&row), None)?;
        Ok(Accepted {
            answer: (),
            changes: vec![change],
        })
    }
}

async fn referrers_of(
    transaction: &DatabaseTransaction,
    unit: &unit::Model,
) -> Result<Vec<Obstacle>, Error> {
    let (branch, id) = (unit.branch_id.as_str(), unit.id.as_str());
    let mut found = referrers::obstacles(
        transaction,
        branch,
        "crews",
        crew::Entity::find()
            .filter(crew::Column::BranchId.eq(branch))
            .filter(
                Condition::any()
                    .add(crew::Column::VehicleId.eq(id))
                    .add(crew::Column::TrailerId.eq(id)),
            ),
        crew::Column::Id,
        "has the unit as vehicle or trailer; give the crew another first",
    )
    .await?;
    let tags = referrers::obstacles(
        transaction,
        branch,
        "tagOuts",
        tag_out::Entity::find()
            .filter(tag_out::Column::BranchId.eq(branch))
            .filter(tag_out::Column::UnitId.eq(id)),
        tag_out::Column::Id,
        "is the unit's; retire the unit instead",
    )
    .await?;
    found.extend(tags);
    let services = referrers::obstacles(
        transaction,
        branch,
        "units",
        unit_service::Entity::find()
            .filter(unit_service::Column::BranchId.eq(branch))
            .filter(unit_service::Column::UnitId.eq(id)),
        unit_service::Column::UnitId,
        "has services on record; retire the unit instead",
    )
    .await?;
    found.extend(services);
    // A unit on a stop is on a load-out of that plan, or of one that it replaced.
    let plans = referrers::obstacles(
        transaction,
        branch,
        "plans",
        plan_load_out::Entity::find()
            .filter(plan_load_out::Column::BranchId.eq(branch))
            .filter(plan_load_out::Column::UnitId.eq(id))
            .filter(plan_load_out::Column::Spell.eq(0)),
        plan_load_out::Column::PlanId,
        "has the unit; retire the unit instead",
    )
    .await?;
    found.extend(plans);
    Ok(found)
}
