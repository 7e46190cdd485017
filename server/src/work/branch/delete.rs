//! Deletes a branch that owns nothing.

use chrono::{DateTime, Utc};
use forenoon_store::entity::{
    branch, crew, job, photo, plan, site, site_case, tag_out, unit, worker,
};
use forenoon_store::sea_orm::{
    ColumnTrait, DatabaseTransaction, EntityTrait, PaginatorTrait, QueryFilter,
};

use super::{get, name};
use crate::work::{Accepted, Change, Command, Error, Obstacle, ObstacleKind, Seen, refuse_stale};

/// Deletes a branch.
pub struct DeleteBranch {
    /// The last part of its name.
    pub id: String,
    /// What the caller has seen of it; none where they do not mind.
    pub seen: Option<Seen>,
}

impl Command for DeleteBranch {
    type Answer = ();

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        _now: DateTime<Utc>,
    ) -> Result<Accepted<()>, Error> {
        let row = get(transaction, &self.id).await?;
        let name = name(&self.id);
        refuse_stale(self.seen, &row, &name)?;
        let obstacles = owned(transaction, &self.id).await?;
        if !obstacles.is_empty() {
            return Err(Error::Obstructed(obstacles));
        }
        // What photographs were of is gone; they go with the branch.
        photo::Entity::delete_many()
            .filter(photo::Column::BranchId.eq(self.id.as_str()))
            .exec(transaction)
            .await?;
        branch::Entity::delete_by_id(self.id.as_str())
            .exec(transaction)
            .await?;
        let change = Change::of(name, "branch.deleted", Some(&row), None)?;
        Ok(Accepted {
            answer: (),
            changes: vec![change],
        })
    }
}

/// What the branch still owns, all kinds at once.
async fn owned(transaction: &DatabaseTransaction, id: &str) -> Result<Vec<Obstacle>, Error> {
    let mut obstacles = Vec::new();
    macro_rules! count {
        ($($module:ident: $word:literal),+) => {$(
            let count = $module::Entity::find()
                .filter($module::Column::BranchId.eq(id))
                .count(transaction)
                .await?;
            if count > 0 {
                obstacles.push(Obstacle {
                    kind: ObstacleKind::StillOwns,
                    subject: name(id),
                    description: format!("it still owns {count} {}; delete these first", $word),
                });
            }
        )+};
    }
    count!(
        plan: "plans",
        tag_out: "tag-outs",
        site_case: "cases",
        job: "jobs",
        site: "sites",
        worker: "workers",
        crew: "crews",
        unit: "units"
    );
    Ok(obstacles)
}
