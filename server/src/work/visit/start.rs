//! A crew begins a job.

use chrono::{DateTime, Utc};
use forenoon_desk::StoredPlan;
use forenoon_store::Revisioned;
use forenoon_store::entity::{job, tag_out, visit};
use forenoon_store::sea_orm::{
    ActiveModelTrait, ColumnTrait, DatabaseTransaction, EntityTrait, IntoActiveModel, QueryFilter,
};
use forenoon_store::value::{JobState, TagOutState, TaskActuals};

use super::{moment, subject};
use crate::work::plan::published_with;
use crate::work::tag_out::misuses;
use crate::work::{Accepted, Change, Command, Error, Obstacle, ObstacleKind};

/// A crew begins a job.
pub struct StartJob {
    /// The branch.
    pub branch: String,
    /// The job.
    pub job: String,
    /// The crew.
    pub crew: String,
    /// When; none for now.
    pub start_time: Option<DateTime<Utc>>,
}

impl Command for StartJob {
    type Answer = visit::Model;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<visit::Model>, Error> {
        let start_time = moment(self.start_time, "start_time", now)?;
        let key = (self.branch.clone(), self.job.clone());
        let subject = subject(&self.branch, &self.job);
        let before = job::Entity::find_by_id(key.clone())
            .one(transaction)
            .await?
            .ok_or_else(|| Error::not_found(subject.clone()))?;
        if let Some(visit) = visit::Entity::find_by_id(key).one(transaction).await? {
            // The same report again, after bad coverage: it was heard.
            if visit.crew_id == self.crew && visit.finish_time.is_none() {
                return Ok(Accepted {
                    answer: visit,
                    changes: vec![],
                });
            }
            return Err(Error::obstacle(
                ObstacleKind::AlreadyStarted,
                subject,
                format!("{} has begun it already", visit.crew_id),
            ));
        }
        if before.state != JobState::Open {
            return Err(Error::obstacle(
                ObstacleKind::NotOpen,
                subject,
                "it is done or was called off",
            ));
        }
        let plan =
            published_with(transaction, &self.branch, &self.job, &self.crew, start_time).await?;
        refuse_tagged(transaction, &plan, &self.branch, &self.job).await?;
        let row = visit::Model {
            branch_id: self.branch.clone(),
            job_id: self.job.clone(),
            plan_id: plan.plan.id,
            crew_id: self.crew.clone(),
            start_time,
            finish_time: None,
            task_actuals: TaskActuals::default(),
            bags: 0,
            note: String::new(),
        };
        let row = row.into_active_model().insert(transaction).await?;
        let mut after = before.clone();
        after.state = JobState::Running;
        after.stamp_changed(&before, now);
        after
            .into_active_model()
            .reset_all()
            .update(transaction)
            .await?;
        let change = Change::of(subject, "visit.started", None, Some(&row))?;
        Ok(Accepted {
            answer: row,
            changes: vec![change],
        })
    }
}

/// Work does not begin with a unit that is tagged out.
async fn refuse_tagged(
    transaction: &DatabaseTransaction,
    plan: &StoredPlan,
    branch: &str,
    job: &str,
) -> Result<(), Error> {
    let units: Vec<String> = plan
        .stop_units
        .iter()
        .filter(|row| row.job_id == job)
        .map(|row| row.unit_id.clone())
        .collect();
    let tags = tag_out::Entity::find()
        .filter(tag_out::Column::BranchId.eq(branch))
        .filter(tag_out::Column::State.ne(TagOutState::Released))
        .filter(tag_out::Column::UnitId.is_in(units))
        .all(transaction)
        .await?;
    let mut obstacles: Vec<Obstacle> = tags
        .into_iter()
        .filter(|tag| !crate::work::tag_out::may_go_out(tag.state, tag.severity))
        .map(|tag| Obstacle {
            kind: ObstacleKind::UnitTaggedOut,
            subject: format!("branches/{branch}/units/{}", tag.unit_id),
            description: format!("it is tagged out by {}; re-plan before you start", tag.id),
        })
        .collect();
    let stops: Vec<_> = plan
        .stops
        .iter()
        .filter(|stop| stop.job_id == job)
        .cloned()
        .collect();
    obstacles.extend(misuses(transaction, branch, &stops).await?);
    if obstacles.is_empty() {
        Ok(())
    } else {
        Err(Error::Obstructed(obstacles))
    }
}
