//! What must be fit for what a crew reports: the units it works with, and what it drives with.

use chrono::{DateTime, Utc};
use forenoon_desk::StoredPlan;
use forenoon_store::entity::{job, visit};
use forenoon_store::sea_orm::DatabaseTransaction;

use super::{Report, Step};
use crate::work::plan::{load, published, published_with};
use crate::work::tag_out::{misused_at, told_after};
use crate::work::visit::drive::Drive;
use crate::work::visit::tagged;
use crate::work::{Error, Obstacle};

impl Report {
    /// What must hold when a crew sets out, or is there and has not told that it set out.
    pub(super) async fn set_out(
        &self,
        transaction: &DatabaseTransaction,
        job: &job::Model,
        row: &visit::Model,
        at: DateTime<Utc>,
        now: DateTime<Utc>,
    ) -> Result<(), Error> {
        let drive = Drive {
            known: row,
            plan: &row.plan_id,
            site: &job.site_id,
            at,
            begun: told_after(self.at, now),
        };
        if self.step != Step::Depart {
            let advice =
                "leave it and plan again; where you set out before, report that departure first";
            return refuse(drive.obstacles(transaction, advice).await?);
        }
        let advice =
            "leave it and plan again; where you set out before, say in the report when that was";
        let mut obstacles = drive.obstacles(transaction, advice).await?;
        let advice = "leave it in the yard, and report the load without it or plan again";
        let carried = drive.out_of_the_yard(transaction, advice).await?;
        for obstacle in carried {
            let known = |known: &Obstacle| known.subject == obstacle.subject;
            if !obstacles.iter().any(known) {
                obstacles.push(obstacle);
            }
        }
        refuse(obstacles)
    }

    /// What must hold when work begins. The plan by which it does.
    pub(super) async fn begin(
        &self,
        transaction: &DatabaseTransaction,
        job: &job::Model,
        row: &visit::Model,
        at: DateTime<Utc>,
        now: DateTime<Utc>,
    ) -> Result<String, Error> {
        self.refuse_closed(job)?;
        let plan = published_with(transaction, &self.branch, &self.job, &self.crew, at).await?;
        // A re-plan takes what nobody has told anything of to be over once it should be.
        let limited = if row.depart_time.is_some() || row.arrive_time.is_some() {
            "plan again"
        } else {
            "report the arrival, then plan again"
        };
        let begun = told_after(self.at, now);
        let advice = [limited, "re-plan before you start"];
        let mut obstacles = self.unfit(transaction, &plan, begun, advice).await?;
        let drive = Drive {
            known: row,
            plan: &plan.plan.id,
            site: &job.site_id,
            at,
            begun,
        };
        let advice =
            "plan again; where you were there before, report that arrival first, then the start";
        obstacles.extend(drive.obstacles(transaction, advice).await?);
        refuse(obstacles)?;
        Ok(plan.plan.id)
    }

    /// What must hold when work goes on: as when it begins, by the plan that holds now.
    pub(super) async fn go_on(
        &self,
        transaction: &DatabaseTransaction,
        job: &job::Model,
        row: &visit::Model,
        at: DateTime<Utc>,
        now: DateTime<Utc>,
    ) -> Result<(), Error> {
        let plan = self.goes_by(transaction, row, at).await?;
        let begun = told_after(self.at, now);
        let advice = "plan again before you go on; what is left is planned anew";
        let advised = [advice, advice];
        let mut obstacles = self.unfit(transaction, &plan, begun, advised).await?;
        let drive = Drive {
            known: row,
            plan: &plan.plan.id,
            site: &job.site_id,
            at,
            begun,
        };
        let advice = "you were elsewhere since; leave it where it stands and plan again";
        obstacles.extend(drive.obstacles(transaction, advice).await?);
        refuse(obstacles)
    }

    /// The plan that a visit goes on by: the one that is published with the job for the time of the report, or for the visit's own
    /// day, or else the one by which it began.
    async fn goes_by(
        &self,
        transaction: &DatabaseTransaction,
        row: &visit::Model,
        at: DateTime<Utc>,
    ) -> Result<StoredPlan, Error> {
        match published_with(transaction, &self.branch, &self.job, &self.crew, at).await {
            Err(Error::Obstructed(_)) => {}
            found => return found,
        }
        let began = load(transaction, &self.branch, &row.plan_id).await?;
        let holds = published(transaction, &self.branch, began.plan.day).await?;
        let has_it = |plan: &StoredPlan| {
            plan.stop_of(&self.job)
                .is_some_and(|stop| stop.crew_id == self.crew)
        };
        Ok(holds.filter(has_it).unwrap_or(began))
    }

    /// Units of the job's stop that must not do what it wants them for: limited ones, then those that must not be used. What
    /// began before a tag is told late, and happened. What to do is said for each of the two.
    pub(super) async fn unfit(
        &self,
        transaction: &DatabaseTransaction,
        plan: &StoredPlan,
        begun: Option<DateTime<Utc>>,
        [limited, out]: [&str; 2],
    ) -> Result<Vec<Obstacle>, Error> {
        let stop = plan.stop_of(&self.job);
        let mut obstacles = misused_at(transaction, &self.branch, stop, begun, limited).await?;
        let units = stop.map(|stop| stop.tasks.unit_ids()).unwrap_or_default();
        let units = units.into_iter().map(str::to_owned).collect();
        obstacles.extend(tagged(transaction, &self.branch, units, begun, out).await?);
        Ok(obstacles)
    }
}

/// Refuses where anything stands in the way.
pub(super) fn refuse(obstacles: Vec<Obstacle>) -> Result<(), Error> {
    if obstacles.is_empty() {
        Ok(())
    } else {
        Err(Error::Obstructed(obstacles))
    }
}
