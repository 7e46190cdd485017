//! A crew has done a job.

use chrono::{DateTime, Utc};
use forenoon_store::Revisioned;
use forenoon_store::entity::{job, unit, visit};
use forenoon_store::sea_orm::{
    ActiveModelTrait, ColumnTrait, DatabaseTransaction, EntityTrait, IntoActiveModel, QueryFilter,
    QuerySelect,
};
use forenoon_store::value::{JobState, TaskActual, TaskActuals};

use super::{moment, subject};
use crate::work::{Accepted, Change, Command, Error, ObstacleKind, Reason, Violation};

/// A crew has done a job.
pub struct FinishJob {
    /// The branch.
    pub branch: String,
    /// The job.
    pub job: String,
    /// The crew.
    pub crew: String,
    /// When; none for now.
    pub finish_time: Option<DateTime<Utc>>,
    /// What each task took, where known.
    pub task_actuals: Vec<TaskActual>,
    /// Bags taken away.
    pub bags: i32,
    /// What the office should know.
    pub note: String,
}

impl Command for FinishJob {
    type Answer = visit::Model;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<visit::Model>, Error> {
        let key = (self.branch.clone(), self.job.clone());
        let subject = subject(&self.branch, &self.job);
        let job = job::Entity::find_by_id(key.clone())
            .one(transaction)
            .await?
            .ok_or_else(|| Error::not_found(subject.clone()))?;
        let before = visit::Entity::find_by_id(key)
            .one(transaction)
            .await?
            .ok_or_else(|| {
                Error::obstacle(
                    ObstacleKind::NotStarted,
                    subject.clone(),
                    "nobody has begun it; start it first",
                )
            })?;
        if before.crew_id != self.crew {
            return Err(Error::obstacle(
                ObstacleKind::OtherCrew,
                subject,
                format!("{} has begun it and must report its end", before.crew_id),
            ));
        }
        if before.finish_time.is_some() {
            return self.heard_before(before, subject);
        }
        let finish_time = moment(self.finish_time, "finish_time", now)?;
        if finish_time < before.start_time {
            return Err(Error::violation(
                "finish_time",
                Reason::EndBeforeStart,
                "is before the start of the visit",
            ));
        }
        self.refuse_unknown(transaction, &job).await?;
        let mut after = before.clone();
        after.finish_time = Some(finish_time);
        after.task_actuals = TaskActuals(self.task_actuals.clone());
        after.bags = self.bags;
        after.note.clone_from(&self.note);
        let after = after
            .into_active_model()
            .reset_all()
            .update(transaction)
            .await?;
        let mut done = job.clone();
        done.state = JobState::Done;
        done.stamp_changed(&job, now);
        done.into_active_model()
            .reset_all()
            .update(transaction)
            .await?;
        let change = Change::of(subject, "visit.finished", Some(&before), Some(&after))?;
        Ok(Accepted {
            answer: after,
            changes: vec![change],
        })
    }
}

impl FinishJob {
    /// The same report again is heard and changes nothing; another one is refused.
    fn heard_before(
        &self,
        visit: visit::Model,
        subject: String,
    ) -> Result<Accepted<visit::Model>, Error> {
        let same = visit.task_actuals.0 == self.task_actuals
            && visit.bags == self.bags
            && visit.note == self.note
            && self
                .finish_time
                .is_none_or(|given| visit.finish_time == Some(given));
        if same {
            return Ok(Accepted {
                answer: visit,
                changes: vec![],
            });
        }
        Err(Error::obstacle(
            ObstacleKind::AlreadyFinished,
            subject,
            "its end is reported already, with other figures",
        ))
    }

    /// Tasks and units that the report names are there.
    async fn refuse_unknown(
        &self,
        transaction: &DatabaseTransaction,
        job: &job::Model,
    ) -> Result<(), Error> {
        let named: Vec<String> = self
            .task_actuals
            .iter()
            .flat_map(|actual| actual.unit_ids.clone())
            .collect();
        let known: Vec<String> = unit::Entity::find()
            .filter(unit::Column::BranchId.eq(self.branch.as_str()))
            .filter(unit::Column::Id.is_in(named))
            .select_only()
            .column(unit::Column::Id)
            .into_tuple()
            .all(transaction)
            .await?;
        let mut faults = Vec::new();
        for (ix, actual) in self.task_actuals.iter().enumerate() {
            let mut fault = |field: String, what: &str| {
                faults.push(Violation {
                    field: format!("task_actuals[{ix}].{field}"),
                    reason: Reason::UnknownReference,
                    description: format!("names no {what}"),
                });
            };
            if !job
                .tasks
                .0
                .iter()
                .any(|task| task.task_id == actual.task_id)
            {
                fault("task_id".to_owned(), "task of the job");
            }
            for (position, id) in actual.unit_ids.iter().enumerate() {
                if !known.contains(id) {
                    fault(format!("units[{position}]"), "unit of the branch");
                }
            }
        }
        if faults.is_empty() {
            Ok(())
        } else {
            Err(Error::Invalid(faults))
        }
    }
}
