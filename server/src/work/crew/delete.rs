//! Deletes a crew that nothing refers to.

use chrono::{DateTime, Utc};
use forenoon_store::entity::{crew, plan_crew_day, visit, worker};
use forenoon_store::sea_orm::{ColumnTrait, DatabaseTransaction, EntityTrait, QueryFilter};

use super::{KINDS, get, name};
use crate::work::{Accepted, Change, Command, Error, Obstacle, Seen, referrers, refuse_stale};

/// Deletes a crew.
pub struct DeleteCrew {
    /// The branch.
    pub branch: String,
    /// The last part of its name.
    pub id: String,
    /// What the caller has seen of it; none where they do not mind.
    pub seen: Option<Seen>,
}

impl Command for DeleteCrew {
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
        crew::Entity::delete_by_id(key).exec(transaction).await?;
        let change = Change::of(name, KINDS.deleted, Some(&row), None)?;
        Ok(Accepted {
            answer: (),
            changes: vec![change],
        })
    }
}

async fn referrers_of(
    transaction: &DatabaseTransaction,
    crew: &crew::Model,
) -> Result<Vec<Obstacle>, Error> {
    let (branch, id) = (crew.branch_id.as_str(), crew.id.as_str());
    let mut found = referrers::obstacles(
        transaction,
        branch,
        "workers",
        worker::Entity::find()
            .filter(worker::Column::BranchId.eq(branch))
            .filter(worker::Column::CrewId.eq(id)),
        worker::Column::Id,
        "is in the crew; give the worker another, or none",
    )
    .await?;
    let plans = referrers::obstacles(
        transaction,
        branch,
        "plans",
        plan_crew_day::Entity::find()
            .filter(plan_crew_day::Column::BranchId.eq(branch))
            .filter(plan_crew_day::Column::CrewId.eq(id)),
        plan_crew_day::Column::PlanId,
        "has a day of the crew; the crew is kept with the plan",
    )
    .await?;
    found.extend(plans);
    let visits = referrers::obstacles(
        transaction,
        branch,
        "jobs",
        visit::Entity::find()
            .filter(visit::Column::BranchId.eq(branch))
            .filter(visit::Column::CrewId.eq(id)),
        visit::Column::JobId,
        "was worked by the crew; the crew is kept with the job",
    )
    .await?;
    found.extend(visits);
    Ok(found)
}
