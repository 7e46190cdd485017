//! What keeps a draft from being published.

use std::collections::{BTreeSet, HashSet};

use chrono::{DateTime, Utc};
use forenoon_desk::StoredPlan;
use forenoon_store::entity::{crew, job, plan, site, tag_out, unit};
use forenoon_store::sea_orm::{
    ColumnTrait, DatabaseTransaction, EntityTrait, QueryFilter, QueryOrder, QuerySelect,
};
use forenoon_store::value::{JobState, PlanState, Severity};

use super::elsewhere::planned_elsewhere;
use super::overtaken::{overtaken, published_over};
use super::read::jobs_of;
use super::untold::untold;
use super::{day, name};
use crate::work::tag_out::{misuses, open_tags};
use crate::work::{self, Error, Obstacle, ObstacleKind};

/// Everything that keeps the draft from being published, at once. `present` is the day's published plan.
pub(super) async fn obstacles(
    transaction: &DatabaseTransaction,
    stored: &StoredPlan,
    present: Option<&plan::Model>,
    now: DateTime<Utc>,
) -> Result<Vec<Obstacle>, Error> {
    let draft = &stored.plan;
    if draft.state != PlanState::Draft {
        return Ok(vec![no_draft(draft, present)]);
    }
    let mut found = Vec::new();
    match &draft.base_plan_id {
        None => found.extend(overtaken(transaction, stored, present, now).await?),
        Some(base) if present.is_some_and(|row| row.id == *base) => {
            found.extend(untold(transaction, stored, base, now).await?);
        }
        Some(_) => found.push(base_replaced(draft, present)),
    }
    found.extend(tagged(transaction, stored).await?);
    found.extend(misuses(transaction, &draft.branch_id, &stored.parts.stops).await?);
    // Nobody misses a job that is left out and gone.
    let stops = stored.parts.stops.iter().map(|stop| &stop.job_id);
    let ids = stops.clone().cloned().collect();
    let jobs = day::jobs_by_id(transaction, &draft.branch_id, ids).await?;
    found.extend(jobs_in_the_way(transaction, stored, &jobs, now).await?);
    let present = jobs.into_iter().map(|job| job.id).collect();
    let wanted = stops.map(String::as_str).collect();
    found.extend(gone(&draft.branch_id, work::job::name, wanted, &present));
    found.extend(what_is_gone(transaction, stored).await?);
    Ok(found)
}

/// A plan that is no draft. One that was thrown away because the day has another published plan since says so.
fn no_draft(plan: &plan::Model, present: Option<&plan::Model>) -> Obstacle {
    let read_at = plan.proposal.as_ref().and_then(|facts| facts.read_at);
    if let (PlanState::Discarded, Some(present), Some(_)) = (plan.state, present, read_at) {
        let facts = plan.proposal.as_ref();
        let then = facts.and_then(|facts| facts.published_then.as_ref());
        match &plan.base_plan_id {
            Some(base) if *base != present.id => return base_replaced(plan, Some(present)),
            None if then != Some(&present.id) => return published_over(present),
            _ => {}
        }
    }
    Obstacle {
        kind: ObstacleKind::NotADraft,
        subject: name(&plan.branch_id, &plan.id),
        description:
            "only a draft can be published; plan the day again, or ask for proposals where crews are at work"
                .to_owned(),
    }
}

fn base_replaced(draft: &plan::Model, present: Option<&plan::Model>) -> Obstacle {
    let subject = present.map_or(&draft.id, |present| &present.id);
    Obstacle {
        kind: ObstacleKind::BaseReplaced,
        subject: name(&draft.branch_id, subject),
        description:
            "the day has another published plan than the one this was made from; re-plan from it"
                .to_owned(),
    }
}

/// Units of the draft that are tagged out. Stops that are over may have used them; load-outs may not have them.
async fn tagged(
    transaction: &DatabaseTransaction,
    stored: &StoredPlan,
) -> Result<Vec<Obstacle>, Error> {
    let tags = tag_out::Entity::find()
        .filter(tag_out::Column::BranchId.eq(stored.plan.branch_id.as_str()))
        .filter(open_tags())
        .filter(tag_out::Column::Severity.eq(Severity::Unsafe))
        .all(transaction)
        .await?;
    Ok(tags
        .into_iter()
        .filter(|tag| {
            stored
                .parts
                .load_outs
                .iter()
                .any(|row| row.unit_id == tag.unit_id)
        })
        .map(|tag| Obstacle {
            kind: ObstacleKind::UnitTaggedOut,
            subject: work::unit::name(&tag.branch_id, &tag.unit_id),
            description: format!(
                "it is tagged out by {} since the plan was made; plan again",
                tag.id
            ),
        })
        .collect())
}

/// Jobs that the draft wants to have done and that are done, under way or called off by now, or on another day's plan.
async fn jobs_in_the_way(
    transaction: &DatabaseTransaction,
    stored: &StoredPlan,
    jobs: &[job::Model],
    now: DateTime<Utc>,
) -> Result<Vec<Obstacle>, Error> {
    let draft = &stored.plan;
    let branch = draft.branch_id.as_str();
    let stops = &stored.parts.stops;
    let planned: BTreeSet<&str> = stops.iter().map(|stop| stop.job_id.as_str()).collect();
    let fixed: BTreeSet<&str> = stops
        .iter()
        .filter(|stop| stop.fixed)
        .map(|stop| stop.job_id.as_str())
        .collect();
    let facts = draft.proposal.as_ref();
    let goes_on = |job: &str| {
        let mut continued = facts.iter().flat_map(|facts| &facts.continued);
        continued.any(|left| left.job_id == job)
    };
    let obstacle = |job: &str, kind, words: &str| Obstacle {
        kind,
        subject: work::job::name(branch, job),
        description: words.to_owned(),
    };
    let mut found: Vec<Obstacle> = jobs
        .iter()
        .filter_map(|job| {
            let to_do = !fixed.contains(job.id.as_str());
            let (kind, words) = match job.state {
                JobState::Cancelled => (
                    ObstacleKind::JobCancelled,
                    "it was called off since the plan was made; plan again",
                ),
                JobState::Done if to_do => (
                    ObstacleKind::NotOpen,
                    "it was done since the plan was made; plan again",
                ),
                JobState::Running if to_do && !goes_on(&job.id) => (
                    ObstacleKind::NotOpen,
                    "a crew is at it since the plan was made; plan again",
                ),
                _ => return None,
            };
            Some(obstacle(&job.id, kind, words))
        })
        .collect();
    // A proposal goes on with what its day has; only what it takes on can be another day's.
    let own = match &draft.base_plan_id {
        Some(base) => jobs_of(transaction, branch, base).await?,
        None => BTreeSet::new(),
    };
    let taken_on: BTreeSet<&str> = planned
        .difference(&fixed)
        .copied()
        .filter(|job| !own.contains(*job))
        .collect();
    if taken_on.is_empty() {
        return Ok(found);
    }
    let row = work::branch::get(transaction, branch).await?;
    let elsewhere = planned_elsewhere(transaction, &row, draft.day, now, &taken_on).await?;
    found.extend(elsewhere.iter().map(|(job, stop)| {
        let words = format!(
            "{} has it on {} by now; plan again",
            stop.crew_id,
            name(branch, &stop.plan_id)
        );
        obstacle(job, ObstacleKind::DayChanged, &words)
    }));
    Ok(found)
}

/// Sites, crews and units of the draft that are no longer there, as nothing holds them for the sake of a draft, and units
/// that are used no more.
async fn what_is_gone(
    transaction: &DatabaseTransaction,
    stored: &StoredPlan,
) -> Result<Vec<Obstacle>, Error> {
    let branch = stored.plan.branch_id.as_str();
    let parts = &stored.parts;
    let stops = &parts.stops;
    let mut found = Vec::new();
    macro_rules! look_for {
        ($module:ident among $ids:expr) => {
            let wanted: BTreeSet<&str> = $ids.collect();
            let present = $module::Entity::find()
                .filter($module::Column::BranchId.eq(branch))
                .filter($module::Column::Id.is_in(wanted.iter().copied()))
                .select_only()
                .column($module::Column::Id)
                .into_tuple()
                .all(transaction)
                .await?
                .into_iter()
                .collect();
            found.extend(gone(branch, work::$module::name, wanted, &present));
        };
    }
    look_for!(site among stops.iter().map(|stop| stop.site_id.as_str()));
    look_for!(crew among parts.crew_days.iter().map(|row| row.crew_id.as_str()));
    look_for!(unit among parts.load_outs.iter().map(|row| row.unit_id.as_str()));
    let aboard: BTreeSet<&str> = parts
        .load_outs
        .iter()
        .map(|row| row.unit_id.as_str())
        .collect();
    let retired: Vec<String> = unit::Entity::find()
        .filter(unit::Column::BranchId.eq(branch))
        .filter(unit::Column::Id.is_in(aboard))
        .filter(unit::Column::Retired.eq(true))
        .select_only()
        .column(unit::Column::Id)
        .order_by_asc(unit::Column::Id)
        .into_tuple()
        .all(transaction)
        .await?;
    found.extend(retired.into_iter().map(|id| Obstacle {
        kind: ObstacleKind::DayChanged,
        subject: work::unit::name(branch, &id),
        description: "was retired since the plan was made; plan again".to_owned(),
    }));
    Ok(found)
}

/// An obstacle for each of what is wanted that is not present.
fn gone(
    branch: &str,
    name: fn(&str, &str) -> String,
    wanted: BTreeSet<&str>,
    present: &HashSet<String>,
) -> Vec<Obstacle> {
    let absent = wanted.into_iter().filter(|id| !present.contains(*id));
    absent
        .map(|id| Obstacle {
            kind: ObstacleKind::DayChanged,
            subject: name(branch, id),
            description: "is gone since the plan was made; plan again".to_owned(),
        })
        .collect()
}
