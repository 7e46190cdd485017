//! Raises an open tag: a unit that might still do some work is unsafe.

use chrono::{DateTime, Utc};
use forenoon_store::Revisioned;
use forenoon_store::entity::tag_out;
use forenoon_store::value::Severity;
use forenoon_trade::tagout::{Event, Person, Rules};

use super::{moved_on, name, standing};
use crate::work::text::{DESCRIPTION_LENGTH_MAX, cut};
use crate::work::{Error, ObstacleKind};

/// Whether a report says that a unit is unsafe which by its open tag may still do some work.
pub(super) fn is_worse(report: &tag_out::Model, open: &tag_out::Model) -> bool {
    open.severity == Severity::Reduced && report.severity == Severity::Unsafe
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
    after.forbidden_tasks = report.forbidden_tasks;
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

/// Both descriptions in words, the new one first.
fn told(now: &str, before: &str) -> String {
    match (now.is_empty(), before.is_empty()) {
        (_, true) => now.to_owned(),
        (true, false) => format!("Before: {before}"),
        (false, false) => format!("{now}; before: {before}"),
    }
}
