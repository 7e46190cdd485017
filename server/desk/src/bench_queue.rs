//! The order in which the bench is wanted.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Utc};
use forenoon_store::entity::{job, plan_stop, tag_out, unit};
use forenoon_store::value::{Capability, Task, TaskKind, UnitKind};

use crate::inputs::keeps_in;
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
    /// Stops of published plans from now on that work with it, or whose crew goes out with it where it carries.
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
    let by_id: BTreeMap<&str, &unit::Model> =
        units.iter().map(|unit| (unit.id.as_str(), unit)).collect();
    let fit = Fit::new(tags, units);
    let whole: Vec<&unit::Model> = units.iter().collect();
    let mut wants: Vec<(Want, i64)> = tags
        .iter()
        .map(|tag| {
            let mine = by_id.get(tag.unit_id.as_str()).copied();
            let carries = mine.is_some_and(|unit| unit.kind.carries());
            let planned: Vec<Planned> = plans
                .iter()
                .map(|plan| planned(plan, &tag.unit_id, carries, now))
                .collect();
            let missed: Vec<DateTime<Utc>> = jobs
                .iter()
                .filter(|open| mine.is_some_and(|unit| needs(open.job, unit, &fit, &whole)))
                .map(|open| open.until)
                .collect();
            let times = planned.iter().filter_map(|planned| planned.first);
            let next_need = times.chain(missed.iter().copied()).min();
            let late = next_need
                .is_some_and(|need| tag.expected_return_time.is_none_or(|back| back > need));
            let want = Want {
                tag_id: tag.id.clone(),
                next_need,
                jobs_without_substitute: missed.len(),
                planned_stops: planned.iter().map(|planned| planned.stops).sum(),
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

/// What a plan wants with a unit.
struct Planned {
    /// When first.
    first: Option<DateTime<Utc>>,
    /// At how many stops.
    stops: usize,
}

/// What a plan wants with a unit from now on: at stops whose tasks name it. Tasks never name what carries: that is wanted when
/// the crew leaves that has it, and at all its stops.
fn planned(plan: &StoredPlan, unit: &str, carries: bool, now: DateTime<Utc>) -> Planned {
    let wants = |stop: &plan_stop::Model| {
        if carries {
            plan.spells_of(unit)
                .any(|spell| spell.crew_id == stop.crew_id)
        } else {
            let mut tasks = stop.tasks.0.iter();
            tasks.any(|task| task.unit_ids.iter().any(|named| named == unit))
        }
    };
    let stops = plan.parts.stops.iter();
    let stops: Vec<&plan_stop::Model> = stops
        .filter(|stop| stop.finish_time > now && wants(stop))
        .collect();
    let leaves = stops
        .iter()
        .filter(|_| carries)
        .filter_map(|stop| plan.day_of(&stop.crew_id)?.depart_time)
        .filter(|leaves| *leaves > now);
    let starts = stops.iter().map(|stop| stop.start_time);
    Planned {
        first: starts.chain(leaves).min(),
        stops: stops.len(),
    }
}

/// The units that go out, and what some of them must not do.
struct Fit<'a> {
    units: Vec<&'a unit::Model>,
    forbidden: BTreeMap<&'a str, &'a [TaskKind]>,
}

impl<'a> Fit<'a> {
    /// A unit whose tag is of reduced severity goes out, and not for what its tag forbids.
    fn new(tags: &'a [tag_out::Model], units: &'a [unit::Model]) -> Self {
        let out: BTreeSet<&str> = tags
            .iter()
            .filter(|tag| keeps_in(tag))
            .map(|tag| tag.unit_id.as_str())
            .collect();
        let limited = tags.iter().filter(|tag| !keeps_in(tag));
        Self {
            units: units
                .iter()
                .filter(|unit| !out.contains(unit.id.as_str()))
                .collect(),
            forbidden: limited
                .map(|tag| (tag.unit_id.as_str(), tag.forbidden_tasks.0.as_slice()))
                .collect(),
        }
    }

    /// Whether a task can be done with these units.
    fn serves(&self, task: &Task) -> bool {
        let may: Vec<&unit::Model> = self
            .units
            .iter()
            .copied()
            .filter(|unit| {
                let forbidden = self.forbidden.get(unit.id.as_str());
                forbidden.is_none_or(|kinds| !kinds.contains(&task.kind))
            })
            .collect();
        may.iter().any(|unit| gives(task, unit, &may))
    }
}

/// Whether a task of the job can be done by no fit unit, and could be with this one among the units.
fn needs(job: &job::Model, unit: &unit::Model, fit: &Fit<'_>, all: &[&unit::Model]) -> bool {
    job.tasks
        .0
        .iter()
        .filter(|task| !task.capabilities.is_empty())
        .any(|task| !fit.serves(task) && serves(task, unit, all))
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
