//! Publishes a proposal, if the day still stands as it did when the proposal was made.

use std::collections::HashSet;

use chrono::{DateTime, Utc};
use forenoon_desk::StoredPlan;
use forenoon_desk::outcome::is_of_same_day;
use forenoon_store::entity::{crew_load, outbox_event, plan};
use forenoon_store::sea_orm::{
    ColumnTrait, DatabaseTransaction, EntityTrait, QueryFilter, QueryOrder,
};
use forenoon_store::value::PlanState;
use serde::Deserialize;
use serde_json::Value;

use super::name;
use super::overtaken::number_of;
use super::publish::publish;
use super::read::load;
use crate::work::{Accepted, Command, Error, Obstacle, ObstacleKind, Seen, job, refuse_stale};

/// What has changed since is told up to so many things.
const CHANGES_TOLD_MAX: usize = 10;
/// What happens to a day that a proposal must know of, as the events' kinds begin. That another plan is published for the day
/// is seen by the plan itself.
const DAY_EVENTS: [&str; 12] = [
    "tag_out.tagged",
    "tag_out.raised",
    "tag_out.reopened",
    "tag_out.released",
    "visit.",
    "load.",
    "job.cancelled",
    job::KINDS.changed,
    job::KINDS.deleted,
    "crew.",
    "worker.",
    "unit.",
];

/// Publishes a proposal.
pub struct AcceptProposal {
    /// The branch.
    pub branch: String,
    /// The proposal's plan.
    pub id: String,
    /// What the caller has seen of it; none where they do not mind.
    pub seen: Option<Seen>,
}

impl Command for AcceptProposal {
    type Answer = StoredPlan;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        now: DateTime<Utc>,
    ) -> Result<Accepted<StoredPlan>, Error> {
        let draft = load(transaction, &self.branch, &self.id).await?;
        let name = name(&self.branch, &self.id);
        refuse_stale(self.seen, &draft.plan, &name)?;
        if draft.plan.base_plan_id.is_none() {
            return Err(Error::obstacle(
                ObstacleKind::NotAProposal,
                name,
                "it was planned from scratch; publish it instead",
            ));
        }
        if draft.plan.state == PlanState::Draft {
            refuse_changed(transaction, &draft).await?;
        }
        publish(transaction, draft, now).await
    }
}

/// Refuses a proposal where anything happened to the day since it was read for it: also while it was searched for.
pub(super) async fn refuse_changed(
    transaction: &DatabaseTransaction,
    proposal: &StoredPlan,
) -> Result<(), Error> {
    let since = changed_since(transaction, proposal).await?;
    if since.is_empty() {
        Ok(())
    } else {
        Err(Error::Obstructed(since))
    }
}

/// What happened since the day was read for the proposal, in the order in which it was accepted. Numbers, unlike clocks,
/// never go back.
async fn changed_since(
    transaction: &DatabaseTransaction,
    stored: &StoredPlan,
) -> Result<Vec<Obstacle>, Error> {
    let draft = &stored.plan;
    let read_at = draft.proposal.as_ref().and_then(|facts| facts.read_at);
    let read_at = match read_at {
        Some(read_at) => read_at,
        None => drafted_at(transaction, draft).await?,
    };
    let kinds = DAY_EVENTS
        .iter()
        .fold(forenoon_store::sea_orm::Condition::any(), |any, kind| {
            any.add(outbox_event::Column::Kind.starts_with(*kind))
        });
    let later = outbox_event::Entity::find()
        .filter(outbox_event::Column::BranchId.eq(draft.branch_id.as_str()))
        .filter(outbox_event::Column::Seq.gt(read_at))
        .filter(kinds)
        .order_by_asc(outbox_event::Column::Seq)
        .all(transaction)
        .await?;
    let jobs = DraftJobs::of(stored);
    Ok(later
        .into_iter()
        .filter(|event| jobs.concerned(event, stored) && !is_expected_load(event, stored))
        .map(|event| Obstacle {
            kind: ObstacleKind::DayChanged,
            description: format!(
                "{} since the proposal was made; re-plan",
                event.kind.replace('.', " ")
            ),
            subject: event.subject,
        })
        .take(CHANGES_TOLD_MAX)
        .collect())
}

/// Whether an event tells that a crew has loaded what the draft takes it to have loaded: all of it, as before. What was
/// loaded on another day is none of it.
fn is_expected_load(event: &outbox_event::Model, draft: &StoredPlan) -> bool {
    if !event.kind.starts_with("load.") {
        return false;
    }
    if is_of_another_day(event, draft) {
        return true;
    }
    let Ok(load) = crew_load::Model::deserialize(&event.body) else {
        return false;
    };
    let mut missing = draft.plan.proposal.iter().flat_map(|facts| &facts.missing);
    let was_short = missing.any(|one| one.crew_id == load.crew_id);
    load.missing_unit_ids.0.is_empty() && !was_short
}

/// Whether an event tells of a visit or a load by a plan of another day than the draft's.
fn is_of_another_day(event: &outbox_event::Model, draft: &StoredPlan) -> bool {
    let plan = event.body.get("plan_id").and_then(Value::as_str);
    plan.is_some_and(|plan| !is_of_same_day(&draft.plan.id, plan))
}

/// The number of the event by which a draft was stored.
async fn drafted_at(transaction: &DatabaseTransaction, draft: &plan::Model) -> Result<i64, Error> {
    let drafted = number_of(transaction, draft, "plan.drafted").await?;
    drafted.ok_or_else(|| Error::Internal(format!("plan {} without its event", draft.id)))
}

/// Resource names of the jobs that a draft speaks of.
struct DraftJobs {
    /// Those whose stops it takes as they are.
    fixed: HashSet<String>,
    /// Those that it plans, and those for which it says why not.
    to_do: HashSet<String>,
}

impl DraftJobs {
    fn of(draft: &StoredPlan) -> Self {
        let named = |id: &str| job::name(&draft.plan.branch_id, id);
        let (fixed, to_do): (Vec<_>, Vec<_>) =
            draft.parts.stops.iter().partition(|stop| stop.fixed);
        let left_out = draft.parts.unplanned.iter().map(|row| row.job_id.as_str());
        Self {
            fixed: fixed.iter().map(|stop| named(&stop.job_id)).collect(),
            to_do: to_do
                .iter()
                .map(|stop| stop.job_id.as_str())
                .chain(left_out)
                .map(named)
                .collect(),
        }
    }

    /// Whether an event touches what the draft does. A report from a stop that it takes as it is changes nothing about
    /// it, and neither does a change of another day's job.
    fn concerned(&self, event: &outbox_event::Model, draft: &StoredPlan) -> bool {
        if event.kind.starts_with("visit.") {
            !self.fixed.contains(&event.subject)
                && (self.to_do.contains(&event.subject) || !is_of_another_day(event, draft))
        } else if event.kind.starts_with("job.") {
            self.to_do.contains(&event.subject)
        } else {
            true
        }
    }
}
