//! The order in which the bench is wanted.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Utc};
use forenoon_store::entity::{job, tag_out, unit};
use forenoon_store::value::{Capability, Task, UnitKind};

use crate::stored_plan::StoredPlan;

/// How much a tagged unit is wanted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Want {
    /// Its tag's id.
    pub tag_id: String,
    /// When a published plan, or the last day of an open job, next wants it; none where none does.
    pub next_need: Option<DateTime<Utc>>,
    /// Open jobs that no fit unit can do and this one could.
    pub jobs_without_substitute: usize,
    /// Stops of published plans from now on that work with it.
    pub planned_stops: usize,
    /// Whether it is expected back later than it is wanted, or nobody knows when.
    pub late: bool,
}

/// An open job, with the end of the last day on which it may be done.
pub struct OpenJob<'a> {
    /// The job.
    pub job: &'a job::Model,
    /// The first instant after its last day.
    pub until: DateTime<Utc>,
}

/// Orders tagged units: first those that an open job can't do without, by when they are wanted; then those that published
/// plans work with, by when; the rest by when they were tagged.
pub fn queue(
    now: DateTime<Utc>,
    tags: &[tag_out::Model],
    units: &[unit::Model],
    plans: &[StoredPlan],
    jobs: &[OpenJob<'_>],
) -> Vec<Want> {
    let out: BTreeSet<&str> = tags.iter().map(|tag| tag.unit_id.as_str()).collect();
    let by_id: BTreeMap<&str, &unit::Model> =
        units.iter().map(|unit| (unit.id.as_str(), unit)).collect();
    let fit: Vec<&unit::Model> = units
        .iter()
        .filter(|unit| !out.contains(unit.id.as_str()))
        .collect();
    let whole: Vec<&unit::Model> = units.iter().collect();
    let mut wants: Vec<(Want, i64)> = tags
        .iter()
        .map(|tag| {
            let stops: Vec<DateTime<Utc>> = plans
                .iter()
                .flat_map(|plan| &plan.parts.stops)
                .filter(|stop| stop.finish_time > now)
                .filter(|stop| {
                    stop.tasks
                        .0
                        .iter()
                        .any(|task| task.unit_ids.contains(&tag.unit_id))
                })
                .map(|stop| stop.start_time)
                .collect();
            let mine = by_id.get(tag.unit_id.as_str()).copied();
            let missed: Vec<DateTime<Utc>> = jobs
                .iter()
                .filter(|open| mine.is_some_and(|unit| needs(open.job, unit, &fit, &whole)))
                .map(|open| open.until)
                .collect();
            let next_need = stops.iter().chain(&missed).min().copied();
            let late = next_need
                .is_some_and(|need| tag.expected_return_time.is_none_or(|back| back > need));
            let want = Want {
                tag_id: tag.id.clone(),
                next_need,
                jobs_without_substitute: missed.len(),
                planned_stops: stops.len(),
                late,
            };
            (want, tag.number)
        })
        .collect();
    wants.sort_by_key(|(want, number)| {
        (
            want.jobs_without_substitute == 0,
            want.next_need.is_none(),
            want.next_need,
            std::cmp::Reverse(want.planned_stops),
            *number,
        )
    });
    wants.into_iter().map(|(want, _)| want).collect()
}

/// Whether a task of the job can be done by no fit unit, and could be with this one among the units.
fn needs(job: &job::Model, unit: &unit::Model, fit: &[&unit::Model], all: &[&unit::Model]) -> bool {
    job.tasks
        .0
        .iter()
        .filter(|task| !task.capabilities.is_empty())
        .any(|task| !served(task, fit) && serves(task, unit, all))
}

/// Whether a task can be done with these units.
fn served(task: &Task, units: &[&unit::Model]) -> bool {
    units.iter().any(|unit| gives(task, unit, units))
}

/// Whether the unit has a part in doing the task: gives the capability itself, or drives what does.
fn serves(task: &Task, unit: &unit::Model, all: &[&unit::Model]) -> bool {
    gives(task, unit, all)
        || (unit.kind == UnitKind::Powerhead
            && all.iter().any(|other| {
                other.kind == UnitKind::Attachment
                    && other.coupling == unit.coupling
                    && capable(task, other)
            }))
}

/// Whether the unit gives a capability that the task takes; an attachment wants its powerhead among the units.
fn gives(task: &Task, unit: &unit::Model, units: &[&unit::Model]) -> bool {
    capable(task, unit)
        && (unit.kind != UnitKind::Attachment
            || units
                .iter()
                .any(|other| other.kind == UnitKind::Powerhead && other.coupling == unit.coupling))
}

fn capable(task: &Task, unit: &unit::Model) -> bool {
    let has = |wanted: &Capability| unit.capabilities.0.contains(wanted);
    task.capabilities.iter().any(has)
}
