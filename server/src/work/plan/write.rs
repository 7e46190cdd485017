//! Writes plans and changes their state.

use std::collections::BTreeSet;
use std::sync::Arc;

use chrono::{DateTime, NaiveDate, Utc};
use forenoon_desk::StoredPlan;
use forenoon_desk::outcome::plan_id;
use forenoon_store::entity::{plan, plan_draft};
use forenoon_store::sea_orm::{ColumnTrait, DatabaseTransaction, EntityTrait, QueryFilter};
use forenoon_store::value::PlanState;
use forenoon_store::{Revisioned, insert_all};

use super::day::jobs_by_id;
use super::name;
use crate::work::tag_out::misuses;
use crate::work::{Accepted, Change, Error, row};

/// The next revision of a day.
pub(super) async fn next_revision(
    transaction: &DatabaseTransaction,
    branch: &str,
    day: NaiveDate,
) -> Result<i32, Error> {
    let of_day = plan::Entity::find()
        .filter(plan::Column::BranchId.eq(branch))
        .filter(plan::Column::Day.eq(day));
    let last: Option<i32> = row::highest(transaction, of_day, plan::Column::DayRevision).await?;
    Ok(last.unwrap_or(0) + 1)
}

/// A plan to be stored as a draft: its document is made before the transaction, for the revision that the day will most
/// likely give it.
#[derive(Clone, Debug)]
pub struct Draft {
    stored: StoredPlan,
    document: String,
}

impl Draft {
    /// Makes the document of a plan as a revision of its day.
    ///
    /// # Errors
    /// Where it cannot be written as JSON, which is a fault of ours.
    pub fn new(mut stored: StoredPlan, day_revision: i32) -> Result<Self, Error> {
        if stored.plan.day_revision != day_revision {
            stored = renumbered(stored, day_revision);
        }
        let document = stored
            .parts
            .to_document()
            .map_err(|error| Error::Internal(format!("a plan as a document: {error}")))?;
        Ok(Self { stored, document })
    }

    /// The plan.
    pub(super) fn plan(&self) -> &plan::Model {
        &self.stored.plan
    }

    /// The draft as the day's revision, created now.
    fn numbered(&self, day_revision: i32, now: DateTime<Utc>) -> Result<Self, Error> {
        let mut draft = if self.plan().day_revision == day_revision {
            self.clone()
        } else {
            Self::new(self.stored.clone(), day_revision)?
        };
        draft.stored.plan.stamp_created(now);
        Ok(draft)
    }
}

fn renumbered(mut stored: StoredPlan, day_revision: i32) -> StoredPlan {
    let id = plan_id(stored.plan.day, day_revision);
    let parts = Arc::make_mut(&mut stored.parts);
    let crew_days = parts.crew_days.iter_mut().map(|row| &mut row.plan_id);
    let load_outs = parts.load_outs.iter_mut().map(|row| &mut row.plan_id);
    let stops = parts.stops.iter_mut().map(|row| &mut row.plan_id);
    let unplanned = parts.unplanned.iter_mut().map(|row| &mut row.plan_id);
    for named in crew_days.chain(load_outs).chain(stops).chain(unplanned) {
        named.clone_from(&id);
    }
    stored.plan.day_revision = day_revision;
    stored.plan.id = id;
    stored
}

/// Stores drafts of one branch and day with the day's next revisions. Refused where one wants a limited unit for what it
/// must not do; the database itself refuses one that has a tagged unit.
pub(super) async fn insert(
    transaction: &DatabaseTransaction,
    drafts: &[Draft],
    now: DateTime<Utc>,
) -> Result<Accepted<Vec<StoredPlan>>, Error> {
    let Some(first) = drafts.first() else {
        return Err(Error::Internal("nothing to store".to_owned()));
    };
    let (branch, day) = (&first.plan().branch_id, first.plan().day);
    let next = next_revision(transaction, branch, day).await?;
    let drafts = (next..)
        .zip(drafts)
        .map(|(revision, draft)| draft.numbered(revision, now))
        .collect::<Result<Vec<Draft>, Error>>()?;
    let stops = drafts.iter().flat_map(|draft| &draft.stored.parts.stops);
    let limited = misuses(transaction, branch, stops).await?;
    if !limited.is_empty() {
        return Err(Error::Obstructed(limited));
    }
    insert_all(transaction, drafts.iter().map(Draft::plan)).await?;
    let mut changes = Vec::with_capacity(drafts.len());
    let mut answer = Vec::with_capacity(drafts.len());
    let mut documents = Vec::with_capacity(drafts.len());
    for Draft { stored, document } in drafts {
        let plan = &stored.plan;
        let subject = name(branch, &plan.id);
        changes.push(Change::of(subject, "plan.drafted", None, Some(plan))?);
        documents.push(plan_draft::Model {
            branch_id: plan.branch_id.clone(),
            plan_id: plan.id.clone(),
            parts: document,
        });
        answer.push(stored);
    }
    insert_all(transaction, &documents).await?;
    Ok(Accepted { answer, changes })
}

/// Makes rows of a draft's parts, where they are a document: crews, work orders and guards go by rows.
pub(super) async fn lay_out(
    transaction: &DatabaseTransaction,
    draft: &StoredPlan,
) -> Result<(), Error> {
    let key = (draft.plan.branch_id.clone(), draft.plan.id.clone());
    let document = plan_draft::Entity::delete_by_id(key)
        .exec(transaction)
        .await?;
    if document.rows_affected == 0 {
        return Ok(());
    }
    insert_all(transaction, &draft.parts.crew_days).await?;
    insert_all(transaction, &draft.parts.load_outs).await?;
    insert_all(transaction, &draft.parts.stops).await?;
    let left_out = &draft.parts.unplanned;
    let ids = left_out.iter().map(|row| row.job_id.clone()).collect();
    let there = jobs_by_id(transaction, &draft.plan.branch_id, ids).await?;
    let there: BTreeSet<&str> = there.iter().map(|job| job.id.as_str()).collect();
    // Of a job that is gone since nothing need be told.
    let still = left_out
        .iter()
        .filter(|row| there.contains(row.job_id.as_str()));
    insert_all(transaction, still).await?;
    Ok(())
}

/// Moves a plan to another state.
pub(super) async fn move_to(
    transaction: &DatabaseTransaction,
    before: &plan::Model,
    state: PlanState,
    now: DateTime<Utc>,
) -> Result<(plan::Model, Change), Error> {
    let mut after = before.clone();
    after.state = state;
    if state == PlanState::Published {
        after.publish_time = Some(now);
    }
    after.stamp_changed(before, now);
    row::update(transaction, before, &after).await?;
    let kind = match state {
        PlanState::Draft => "plan.drafted",
        PlanState::Published => "plan.published",
        PlanState::Replaced => "plan.replaced",
        PlanState::Discarded => "plan.discarded",
    };
    let change = Change::of(
        name(&after.branch_id, &after.id),
        kind,
        Some(before),
        Some(&after),
    )?;
    Ok((after, change))
}
