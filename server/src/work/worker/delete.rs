//! Deletes a worker that nothing refers to.

use chrono::{DateTime, Utc};
use forenoon_store::entity::{tag_out, unit_service, worker};
use forenoon_store::sea_orm::{
    ColumnTrait, Condition, DatabaseTransaction, EntityTrait, QueryFilter,
};

use super::{KINDS, get, name};
use crate::work::{Accepted, Change, Command, Error, Obstacle, Seen, referrers, refuse_stale};

/// Deletes a worker.
pub struct DeleteWorker {
    /// The branch.
    pub branch: String,
    /// The last part of its name.
    pub id: String,
    /// What the caller has seen of it; none where they do not mind.
    pub seen: Option<Seen>,
}

impl Command for DeleteWorker {
    type Answer = ();

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        _now: DateTime<Utc>,
    ) -> Result<Accepted<()>, Error> {
        let row = get(transaction, &self.branch, &self.id).await?;
        let name = name(&self.branch, &self.id);
        refuse_stale(self.seen, &row, &name)?;
        let mut found = tags_of(transaction, &row).await?;
        found.extend(services_of(transaction, &row).await?);
        referrers::refuse(found)?;
        let key = (self.branch.clone(), self.id.clone());
        worker::Entity::delete_by_id(key).exec(transaction).await?;
        let change = Change::of(name, KINDS.deleted, Some(&row), None)?;
        Ok(Accepted {
            answer: (),
            changes: vec![change],
        })
    }
}

/// The tag-outs in which the worker has a part: who found, repaired, inspected or released stays known.
async fn tags_of(
    transaction: &DatabaseTransaction,
    worker: &worker::Model,
) -> Result<Vec<Obstacle>, Error> {
    let (branch, id) = (worker.branch_id.as_str(), worker.id.as_str());
    let tags = tag_out::Entity::find()
        .filter(tag_out::Column::BranchId.eq(branch))
        .filter(
            Condition::any()
                .add(tag_out::Column::FoundById.eq(id))
                .add(tag_out::Column::RepairedById.eq(id))
                .add(tag_out::Column::InspectedById.eq(id))
                .add(tag_out::Column::ReleasedById.eq(id)),
        );
    referrers::obstacles(
        transaction,
        branch,
        "tagOuts",
        tags,
        tag_out::Column::Id,
        "names the worker; take the worker out of the crew instead",
    )
    .await
}

/// The units that the worker serviced: who serviced them stays known.
async fn services_of(
    transaction: &DatabaseTransaction,
    worker: &worker::Model,
) -> Result<Vec<Obstacle>, Error> {
    let branch = worker.branch_id.as_str();
    referrers::obstacles(
        transaction,
        branch,
        "units",
        unit_service::Entity::find()
            .filter(unit_service::Column::BranchId.eq(branch))
            .filter(unit_service::Column::MechanicId.eq(worker.id.as_str())),
        unit_service::Column::UnitId,
        "has a service on record that the worker did; take the worker out of the crew instead",
    )
    .await
}
