//! Deletes a site that nothing refers to.

use chrono::{DateTime, Utc};
use forenoon_store::entity::{job, plan_stop, site};
use forenoon_store::sea_orm::{ColumnTrait, DatabaseTransaction, EntityTrait, QueryFilter};

use super::{KINDS, get, name};
use crate::work::{Accepted, Change, Command, Error, Obstacle, Seen, referrers, refuse_stale};

/// Deletes a site.
pub struct DeleteSite {
    /// The branch.
    pub branch: String,
    /// The last part of its name.
    pub id: String,
    /// What the caller has seen of it; none where they do not mind.
    pub seen: Option<Seen>,
}

impl Command for DeleteSite {
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
        site::Entity::delete_by_id(key).exec(transaction).await?;
        let change = Change::of(name, KINDS.deleted, Some(&row), None)?;
        Ok(Accepted {
            answer: (),
            changes: vec![change],
        })
    }
}

async fn referrers_of(
    transaction: &DatabaseTransaction,
    site: &site::Model,
) -> Result<Vec<Obstacle>, Error> {
    let (branch, id) = (site.branch_id.as_str(), site.id.as_str());
    let mut found = referrers::obstacles(
        transaction,
        branch,
        "jobs",
        job::Entity::find()
            .filter(job::Column::BranchId.eq(branch))
            .filter(job::Column::SiteId.eq(id)),
        job::Column::Id,
        "is work at the site; delete the job first",
    )
    .await?;
    // A job may have been moved to another site after it was planned here.
    let plans = referrers::obstacles(
        transaction,
        branch,
        "plans",
        plan_stop::Entity::find()
            .filter(plan_stop::Column::BranchId.eq(branch))
            .filter(plan_stop::Column::SiteId.eq(id)),
        plan_stop::Column::PlanId,
        "has a stop at the site; the site is kept with the plan",
    )
    .await?;
    found.extend(plans);
    Ok(found)
}
