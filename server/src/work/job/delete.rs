//! Deletes a job that nothing refers to, with its photographs.

use chrono::{DateTime, Utc};
use forenoon_store::entity::{job, plan_stop, plan_unplanned, site_case, tag_out, visit};
use forenoon_store::sea_orm::{
    ColumnTrait, Condition, DatabaseTransaction, EntityTrait, QueryFilter,
};

use super::{KINDS, get, name};
use crate::work::{
    Accepted, Change, Command, Error, Obstacle, Seen, photo, referrers, refuse_stale,
};

/// Deletes a job.
pub struct DeleteJob {
    /// The branch.
    pub branch: String,
    /// The last part of its name.
    pub id: String,
    /// What the caller has seen of it; none where they do not mind.
    pub seen: Option<Seen>,
}

impl Command for DeleteJob {
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
        photo::forget(transaction, &self.branch, &name).await?;
        let key = (self.branch.clone(), self.id.clone());
        job::Entity::delete_by_id(key).exec(transaction).await?;
        let change = Change::of(name, KINDS.deleted, Some(&row), None)?;
        Ok(Accepted {
            answer: (),
            changes: vec![change],
        })
    }
}

async fn referrers_of(
    transaction: &DatabaseTransaction,
    job: &job::Model,
) -> Result<Vec<Obstacle>, Error> {
    let (branch, id) = (job.branch_id.as_str(), job.id.as_str());
    let advice = "has the job, and keeps it; cancel the job instead";
    let mut found = referrers::obstacles(
        transaction,
        branch,
        "plans",
        plan_stop::Entity::find()
            .filter(plan_stop::Column::BranchId.eq(branch))
            .filter(plan_stop::Column::JobId.eq(id)),
        plan_stop::Column::PlanId,
        advice,
    )
    .await?;
    let left_out = referrers::obstacles(
        transaction,
        branch,
        "plans",
        plan_unplanned::Entity::find()
            .filter(plan_unplanned::Column::BranchId.eq(branch))
            .filter(plan_unplanned::Column::JobId.eq(id)),
        plan_unplanned::Column::PlanId,
        advice,
    )
    .await?;
    found.extend(left_out);
    let visits = referrers::obstacles(
        transaction,
        branch,
        "plans",
        visit::Entity::find()
            .filter(visit::Column::BranchId.eq(branch))
            .filter(visit::Column::JobId.eq(id)),
        visit::Column::PlanId,
        "is the plan by which a crew worked on the job; the job is kept with it",
    )
    .await?;
    found.extend(visits);
    let cases = referrers::obstacles(
        transaction,
        branch,
        "cases",
        site_case::Entity::find()
            .filter(site_case::Column::BranchId.eq(branch))
            .filter(
                Condition::any()
                    .add(site_case::Column::JobId.eq(id))
                    .add(site_case::Column::ReturnJobId.eq(id)),
            ),
        site_case::Column::Id,
        "is a case of the job, and keeps it; cancel the job instead",
    )
    .await?;
    found.extend(cases);
    let tags = referrers::obstacles(
        transaction,
        branch,
        "tagOuts",
        tag_out::Entity::find()
            .filter(tag_out::Column::BranchId.eq(branch))
            .filter(tag_out::Column::JobId.eq(id)),
        tag_out::Column::Id,
        "says that its unit failed at the job, and keeps it; cancel the job instead",
    )
    .await?;
    found.extend(tags);
    Ok(found)
}
