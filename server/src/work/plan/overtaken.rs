//! Whether the day has gone on since a draft was made from scratch.
//!
//! Two dispatchers may plan a day side by side, and a draft may lie about while crews are at work. What was published
//! since it was read for, crews that have set out, and changes of what it plans with keep it from being published: it
//! does not know of them.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, TimeDelta, Utc};
use forenoon_desk::StoredPlan;
use forenoon_store::entity::{audit_entry, plan, plan_crew_day};
use forenoon_store::sea_orm::{
    ColumnTrait, ConnectionTrait, DatabaseTransaction, EntityTrait, QueryFilter, QueryOrder,
    QuerySelect,
};
use serde_json::Value;

use super::day::IDS_PER_QUERY_MAX;
use super::name;
use super::under_way::under_way;
use crate::work::{Error, Obstacle, ObstacleKind, crew, job, unit};

/// How long after a crew was to leave by a draft it may still be told of it: the morning's talk in the yard. Common practice, no
/// source.
pub(super) const LEAVES_LATE_MAX: TimeDelta = TimeDelta::minutes(30);

/// What has changed since is told up to so many things.
const CHANGES_TOLD_MAX: usize = 10;

/// What a plan goes by, of each kind of record. A note or a name changes nothing about it.
const JOB_PARTS: [&str; 7] = [
    "site_id",
    "tasks",
    "condition",
    "windows",
    "deadline",
    "promise",
    "skills",
];
const UNIT_PARTS: [&str; 10] = [
    "kind",
    "capabilities",
    "coupling",
    "cutting_width_millimetres",
    "machine_width_millimetres",
    "max_slope_percent",
    "load_space_litres",
    "carries_litres",
    "bag_litres",
    "absences",
];
const CREW_PARTS: [&str; 7] = [
    "shifts",
    "vehicle_id",
    "trailer_id",
    "overtime_allowed_seconds",
    "base_latitude",
    "base_longitude",
    "break_seconds",
];
const WORKER_PARTS: [&str; 2] = ["crew_id", "skills"];

/// What keeps a draft that was made from scratch from being published, as the day has gone on without it. `present` is the
/// day's published plan.
///
/// # Errors
/// Those of the database.
pub(super) async fn overtaken(
    transaction: &DatabaseTransaction,
    draft: &StoredPlan,
    present: Option<&plan::Model>,
    now: DateTime<Utc>,
) -> Result<Vec<Obstacle>, Error> {
    if let Some(present) = present {
        if is_published_over(transaction, &draft.plan, present).await? {
            return Ok(vec![published_over(present)]);
        }
        if let Some(words) = under_way(transaction, present, now).await? {
            return Ok(vec![Obstacle {
                kind: ObstacleKind::DayChanged,
                subject: name(&present.branch_id, &present.id),
                description: format!("{words}; re-plan from it"),
            }]);
        }
    } else if let Some(crew) = left_behind(draft, now) {
        return Ok(vec![Obstacle {
            kind: ObstacleKind::DayChanged,
            subject: name(&draft.plan.branch_id, &draft.plan.id),
            description: format!(
                "{} was to leave by it more than {} minutes ago; plan the day again",
                crew.crew_display_name,
                LEAVES_LATE_MAX.num_minutes()
            ),
        }]);
    }
    let read_at = draft.plan.proposal.as_ref().and_then(|facts| facts.read_at);
    match read_at {
        Some(read_at) => changed_since(transaction, draft, read_at).await,
        None => Ok(Vec::new()),
    }
}

/// A crew that by the draft was to be gone for long, on a day that is not over: by it that crew would have begun what nobody
/// told it of. A day that is over is published for the record.
fn left_behind(draft: &StoredPlan, now: DateTime<Utc>) -> Option<&plan_crew_day::Model> {
    let crews = &draft.parts.crew_days;
    let is_over = crews
        .iter()
        .all(|crew| crew.return_time.is_none_or(|at| at <= now));
    let late = |crew: &&plan_crew_day::Model| {
        let depart = crew.depart_time;
        depart.is_some_and(|at| at + LEAVES_LATE_MAX < now)
    };
    crews.iter().filter(|_| !is_over).find(late)
}

/// The day has a published plan that the draft does not know of.
pub(super) fn published_over(present: &plan::Model) -> Obstacle {
    Obstacle {
        kind: ObstacleKind::BaseReplaced,
        subject: name(&present.branch_id, &present.id),
        description:
            "was published for the day since this was made; look at it, then re-plan from it or plan the day again"
                .to_owned(),
    }
}

/// Whether a plan was published for the day that was not published yet when the draft was read for.
async fn is_published_over(
    transaction: &DatabaseTransaction,
    draft: &plan::Model,
    present: &plan::Model,
) -> Result<bool, Error> {
    let facts = draft.proposal.as_ref();
    if let Some(facts) = facts.filter(|facts| facts.read_at.is_some()) {
        return Ok(facts.published_then.as_deref() != Some(present.id.as_str()));
    }
    // Made by a server that did not keep it: the numbers of the changes tell. What was brought in from elsewhere has none.
    let drafted = number_of(transaction, draft, "plan.drafted").await?;
    let published = number_of(transaction, present, "plan.published").await?;
    Ok(drafted
        .zip(published)
        .is_some_and(|(drafted, published)| drafted < published))
}

/// The number of a plan's change of this kind, and of its event.
pub(super) async fn number_of(
    connection: &impl ConnectionTrait,
    plan: &plan::Model,
    kind: &str,
) -> Result<Option<i64>, Error> {
    Ok(audit_entry::Entity::find()
        .filter(audit_entry::Column::BranchId.eq(plan.branch_id.as_str()))
        .filter(audit_entry::Column::Subject.eq(name(&plan.branch_id, &plan.id)))
        .filter(audit_entry::Column::Kind.eq(kind))
        .order_by_desc(audit_entry::Column::Seq)
        .select_only()
        .column(audit_entry::Column::Seq)
        .into_tuple()
        .one(connection)
        .await?)
}

/// Jobs, units, crews and their people that are otherwise than when the draft was read for, in what it goes by.
async fn changed_since(
    transaction: &DatabaseTransaction,
    draft: &StoredPlan,
    read_at: i64,
) -> Result<Vec<Obstacle>, Error> {
    let branch = draft.plan.branch_id.as_str();
    let parts = &draft.parts;
    let crews: BTreeSet<&str> = parts
        .stops
        .iter()
        .map(|stop| stop.crew_id.as_str())
        .collect();
    let jobs = parts
        .stops
        .iter()
        .map(|stop| job::name(branch, &stop.job_id));
    let units = parts
        .load_outs
        .iter()
        .map(|row| unit::name(branch, &row.unit_id));
    let subjects: BTreeSet<String> = jobs
        .chain(units)
        .chain(crews.iter().map(|id| crew::name(branch, id)))
        .collect();
    let subjects: Vec<String> = subjects.into_iter().collect();
    let since = || {
        audit_entry::Entity::find()
            .filter(audit_entry::Column::BranchId.eq(branch))
            .filter(audit_entry::Column::Seq.gt(read_at))
            .order_by_asc(audit_entry::Column::Seq)
    };
    let mut entries = Vec::new();
    for some in subjects.chunks(IDS_PER_QUERY_MAX) {
        let of_these = since().filter(audit_entry::Column::Subject.is_in(some));
        entries.extend(of_these.all(transaction).await?);
    }
    let of_workers = since().filter(audit_entry::Column::Kind.starts_with("worker."));
    entries.extend(of_workers.all(transaction).await?);

    let mut whole: BTreeMap<String, Changed> = BTreeMap::new();
    for entry in entries {
        let Some(parts) = gone_by(&entry.kind) else {
            continue;
        };
        whole
            .entry(entry.subject)
            .and_modify(|(_, last, _)| last.clone_from(&entry.after))
            .or_insert((entry.before, entry.after, parts));
    }
    let concerned = |before: &Value, after: Option<&Value>, parts: &[&str]| {
        let is_worker = parts == WORKER_PARTS;
        let of_crew = |row: &Value| {
            let crew = row.get("crew_id").and_then(Value::as_str);
            crew.is_some_and(|crew| crews.contains(crew))
        };
        !is_worker || of_crew(before) || after.is_some_and(of_crew)
    };
    Ok(whole
        .into_iter()
        .filter(|(_, (before, after, parts))| {
            // What came since is no part of the draft.
            let Some(before) = before else { return false };
            let differs = after
                .as_ref()
                .is_none_or(|after| parts.iter().any(|part| before.get(part) != after.get(part)));
            differs && concerned(before, after.as_ref(), parts)
        })
        // What the draft names and is gone is told with the rest of it.
        .filter(|(_, (_, after, parts))| after.is_some() || *parts == WORKER_PARTS)
        .map(|(subject, _)| Obstacle {
            kind: ObstacleKind::DayChanged,
            subject,
            description: "has changed since the plan was made; plan the day again".to_owned(),
        })
        .take(CHANGES_TOLD_MAX)
        .collect())
}

/// What a row was before the first change, what it is after the last, and the parts that count.
type Changed = (Option<Value>, Option<Value>, &'static [&'static str]);

/// What a plan goes by of the record that a change is of; none where no plan made from scratch minds.
fn gone_by(kind: &str) -> Option<&'static [&'static str]> {
    match kind.split_once('.')?.0 {
        "job" => Some(&JOB_PARTS),
        "unit" => Some(&UNIT_PARTS),
        "crew" => Some(&CREW_PARTS),
        "worker" => Some(&WORKER_PARTS),
        _ => None,
    }
}
