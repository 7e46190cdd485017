//! Raises an open tag: a unit that might still do some work is unsafe, or must not do more than was known.

use chrono::{DateTime, Utc};
use forenoon_store::Revisioned;
use forenoon_store::entity::tag_out;
use forenoon_store::value::{ForbiddenEarlier, ForbiddenKind, ForbiddenTasks, Severity, TaskKind};
use forenoon_trade::tagout::{Event, Person, Rules};

use super::{moved_on, name, standing};
use crate::work::text::{DESCRIPTION_LENGTH_MAX, cut};
use crate::work::{Error, ObstacleKind};

/// Whether a report says of a unit, which by its open tag may still do some work, that it is unsafe or must not do more.
pub(super) fn is_worse(report: &tag_out::Model, open: &tag_out::Model) -> bool {
    let unknown = |kind: &TaskKind| !open.forbidden_tasks.0.contains(kind);
    open.severity == Severity::Reduced
        && (report.severity == Severity::Unsafe || report.forbidden_tasks.0.iter().any(unknown))
}

/// The open tag as the new report makes it: with what was seen now, and after it what was said before. It keeps its number,
/// which hangs on the unit, and what the bench has found so far; nobody knows any more when the unit is back.
pub(super) fn raised(
    open: &tag_out::Model,
    report: tag_out::Model,
    now: DateTime<Utc>,
) -> Result<tag_out::Model, Error> {
    // Anybody may, also who is none of the branch's workers.
    let person = Person {
        id: report.found_by_id.as_deref().unwrap_or_default(),
        mechanic: false,
    };
    let rules = Rules {
        inspector_differs_from_repairer: false,
    };
    let next = standing(open).after(Event::Raise, person, rules);
    let next = next.map_err(|refusal| {
        let subject = name(&open.branch_id, &open.id);
        Error::obstacle(ObstacleKind::TagOutState, subject, refusal.to_string())
    })?;
    let mut after = moved_on(open, next);
    after.expected_return_time = None;
    after.severity = report.severity;
    after.severity_time = Some(Ord::max(now, open.create_time));
    after.forbidden_tasks = match report.severity {
        Severity::Unsafe => ForbiddenTasks::default(),
        Severity::Reduced => together(&open.forbidden_tasks, &report.forbidden_tasks),
    };
    after.forbidden_earlier = match report.severity {
        Severity::Unsafe => ForbiddenEarlier::default(),
        Severity::Reduced => earlier(open),
    };
    after.symptom = report.symptom;
    after.description = cut(
        told(&report.description, &open.description),
        DESCRIPTION_LENGTH_MAX,
    );
    // Whoever found it first is asked no more where somebody else saw it since.
    after.found_by_id = report.found_by_id.or(after.found_by_id);
    after.job_id = report.job_id.or(after.job_id);
    after.contact = report.contact.or(after.contact);
    after.stamp_changed(open, now);
    Ok(after)
}

/// What the one forbids, and then what the other forbids beyond that. A report that tells less takes nothing back: that is for
/// the mechanic who releases the tag.
fn together(open: &ForbiddenTasks, report: &ForbiddenTasks) -> ForbiddenTasks {
    let more = report.0.iter().filter(|kind| !open.0.contains(kind));
    ForbiddenTasks(open.0.iter().chain(more).copied().collect())
}

/// What an open tag forbids already, each kind with the time since when.
fn earlier(open: &tag_out::Model) -> ForbiddenEarlier {
    let kinds = open.forbidden_tasks.0.iter();
    let known = kinds.filter_map(|&kind| {
        let since = open.forbids_since(kind)?;
        Some(ForbiddenKind { kind, since })
    });
    ForbiddenEarlier(known.collect())
}

/// Both descriptions in words, the new one first.
fn told(now: &str, before: &str) -> String {
    match (now.is_empty(), before.is_empty()) {
        (_, true) => now.to_owned(),
        (true, false) => format!("Before: {before}"),
        (false, false) => format!("{now}; before: {before}"),
    }
}
