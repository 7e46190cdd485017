//! Work that is told after a plan has taken it from its crew, which had not told that it had begun: telephones are out of reach
//! for a while.
//!
//! What is told then is what would stand there had it been told in time: the crew began, and the plan ended its visit. If the
//! work was over by then, its end may be told as well, and the job is done. The crew that has the job now, where it has not
//! begun, keeps its visit until then, and is told by the end of it.

use chrono::{DateTime, Utc};
use forenoon_store::entity::{job, plan, plan_stop, visit};
use forenoon_store::sea_orm::{
    ColumnTrait, DatabaseTransaction, EntityTrait, QueryFilter, QueryOrder,
};
use forenoon_store::value::{JobState, PlanState, VisitState};

use super::fit::refuse;
use super::{Report, Step};
use crate::work::bench::add_late;
use crate::work::plan::{load, published_with};
use crate::work::tag_out::told_after;
use crate::work::text::{REASON_LENGTH_MAX, cut};
use crate::work::visit::ending::told_until;
use crate::work::visit::record::fresh;
use crate::work::visit::subject;
use crate::work::{Accepted, Change, Error, branch as branches, row};

/// Two plans of a day: the one that had a job for a crew at an instant, and the first one after it that has not.
struct Taken {
    by: plan::Model,
    from: plan::Model,
    /// Who has the job by the later plan; nobody where that leaves it.
    to: Option<String>,
}

impl Report {
    /// Takes a start that lies before the plan which took the job from the crew; none where it is no such start.
    pub(super) async fn begun_before(
        &self,
        transaction: &DatabaseTransaction,
        job: &job::Model,
        at: DateTime<Utc>,
        now: DateTime<Utc>,
    ) -> Result<Option<Accepted<visit::Model>>, Error> {
        let begun = told_after(self.at, now);
        if self.step != Step::Start || begun.is_none() || job.state != JobState::Open {
            return Ok(None);
        }
        let visits = visit::Entity::find()
            .filter(visit::Column::BranchId.eq(self.branch.as_str()))
            .filter(visit::Column::JobId.eq(self.job.as_str()))
            .order_by_asc(visit::Column::Attempt)
            .all(transaction)
            .await?;
        let known = |visit: &visit::Model| visit.crew_id == self.crew || visit.start_time.is_some();
        if visits.iter().any(known) {
            return Ok(None);
        }
        match published_with(transaction, &self.branch, &self.job, &self.crew, at).await {
            Ok(_) => return Ok(None),
            Err(Error::Obstructed(_)) => {}
            Err(error) => return Err(error),
        }
        let Some(taken) = self.taken(transaction, at).await? else {
            return Ok(None);
        };
        let held = load(transaction, &self.branch, &taken.from.id).await?;
        let advice = "it was so before the work began; tell the office what was done";
        refuse(
            self.unfit(transaction, &held, begun, [advice, advice])
                .await?,
        )?;
        let last = visits.last();
        let on_its_way = last.filter(|last| last.finish_time.is_none());
        let attempt = match (last, on_its_way) {
            (_, Some(other)) => other.attempt,
            (Some(last), None) => last.attempt + 1,
            (None, None) => 1,
        };
        let row = self.as_taken(&taken, attempt, at);
        let subject = subject(&self.branch, &self.job);
        let mut changes = Vec::new();
        let change = Change::of(subject.clone(), self.step.kind(), None, Some(&row))?;
        if let Some(other) = on_its_way {
            // It is the later attempt, and stands as it did.
            let later = visit::Model {
                attempt: attempt + 1,
                ..other.clone()
            };
            row::update(transaction, other, &row).await?;
            row::insert(transaction, &later).await?;
            let kind = match later.arrive_time {
                Some(_) => Step::Arrive.kind(),
                None => Step::Depart.kind(),
            };
            changes.push(change);
            changes.push(Change::of(subject, kind, Some(other), Some(&later))?);
        } else {
            row::insert(transaction, &row).await?;
            changes.push(change);
        }
        Ok(Some(Accepted {
            answer: row,
            changes,
        }))
    }

    /// Which plan took the job from the crew, which had it at an instant.
    async fn taken(
        &self,
        transaction: &DatabaseTransaction,
        at: DateTime<Utc>,
    ) -> Result<Option<Taken>, Error> {
        let branch = branches::get(transaction, &self.branch).await?;
        let plans = plan::Entity::find()
            .filter(plan::Column::BranchId.eq(self.branch.as_str()))
            .filter(plan::Column::Day.eq(branches::local_day(&branch, at)?))
            .filter(plan::Column::State.is_in([PlanState::Published, PlanState::Replaced]))
            .order_by_asc(plan::Column::PublishTime)
            .all(transaction)
            .await?;
        let ids = plans.iter().map(|plan| plan.id.as_str());
        let stops = plan_stop::Entity::find()
            .filter(plan_stop::Column::BranchId.eq(self.branch.as_str()))
            .filter(plan_stop::Column::PlanId.is_in(ids))
            .filter(plan_stop::Column::JobId.eq(self.job.as_str()))
            .all(transaction)
            .await?;
        let whose = |plan: &plan::Model| {
            let mut stops = stops.iter();
            stops
                .find(|stop| stop.plan_id == plan.id)
                .map(|stop| stop.crew_id.clone())
        };
        let own = |plan: &plan::Model| whose(plan).as_deref() == Some(self.crew.as_str());
        let (before, after): (Vec<_>, Vec<_>) = plans
            .into_iter()
            .partition(|plan| plan.publish_time.is_some_and(|published| published <= at));
        let from = before.into_iter().next_back().filter(own);
        let by = after.into_iter().find(|plan| !own(plan));
        Ok(from.zip(by).map(|(from, by)| Taken {
            to: whose(&by),
            by,
            from,
        }))
    }

    /// The crew's visit as the plan that took the job away would have ended it.
    fn as_taken(&self, taken: &Taken, attempt: i32, at: DateTime<Utc>) -> visit::Model {
        let reason = match &taken.to {
            Some(crew) => format!("handed over to {crew} by plan {}", taken.by.id),
            None => format!("left for another day by plan {}", taken.by.id),
        };
        visit::Model {
            plan_id: taken.from.id.clone(),
            crew_id: self.crew.clone(),
            state: VisitState::NotDone,
            start_time: Some(at),
            finish_time: taken.by.publish_time,
            not_done_reason: cut(reason, REASON_LENGTH_MAX),
            ended_by_plan_id: Some(taken.by.id.clone()),
            ..fresh(&self.branch, &self.job, attempt)
        }
    }

    /// The crew's visit is done, and that of the other crew, which has not begun, is over: the job was done before it came.
    /// What was done is the last attempt, so the two change places.
    pub(super) async fn done_before_it_came(
        &self,
        transaction: &DatabaseTransaction,
        (before, done): (&visit::Model, visit::Model),
        other: &visit::Model,
        now: DateTime<Utc>,
    ) -> Result<Accepted<visit::Model>, Error> {
        let done = visit::Model {
            attempt: other.attempt,
            ..done
        };
        let over = told_until(other).map_or(now, |told| now.max(told));
        let reason = format!(
            "{} had done it before, by plan {}",
            done.crew_id, done.plan_id
        );
        let ended = visit::Model {
            attempt: before.attempt,
            state: VisitState::NotDone,
            finish_time: Some(over),
            not_done_reason: cut(reason, REASON_LENGTH_MAX),
            ..other.clone()
        };
        row::update(transaction, before, &ended).await?;
        row::update(transaction, other, &done).await?;
        add_late(transaction, Some(before), &done).await?;
        let subject = subject(&self.branch, &self.job);
        let changes = vec![
            Change::of(subject.clone(), "visit.not_done", Some(other), Some(&ended))?,
            Change::of(subject, self.step.kind(), Some(before), Some(&done))?,
        ];
        Ok(Accepted {
            answer: done,
            changes,
        })
    }
}
