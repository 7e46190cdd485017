//! The order in which the bench is wanted.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Utc};
use forenoon_store::entity::{job, plan_stop, site, tag_out, unit};
use forenoon_store::value::{Capability, Reason, ReasonKind, Reasons, Task, TaskKind, UnitKind};

use crate::inputs::keeps_in;
use crate::stored_plan::StoredPlan;
use crate::trade_map::goes_there;

/// How much a tagged unit is wanted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Want {
    /// Its tag's id.
    pub tag_id: String,
    /// When a published plan, a job that one left out for want of it, or the last day of an open job, next wants it; none where
    /// none does.
    pub next_need: Option<DateTime<Utc>>,
    /// Open jobs that no fit unit can do and this one could.
    pub jobs_without_substitute: usize,
    /// Other open jobs that published plans leave out for want of it.
    pub jobs_left_out: usize,
    /// Stops of published plans from now on that work with it, or whose crew goes out with it where it carries.
    pub planned_stops: usize,
    /// Whether it is expected back later than it is wanted, or nobody knows when.
    pub late: bool,
}

/// An open job, with its site and the end of the last day on which it may be done.
pub struct OpenJob<'a> {
    /// The job.
    pub job: &'a job::Model,
    /// Where it is; none where that is not on record.
    pub site: Option<&'a site::Model>,
    /// The first instant after its last day.
    pub until: DateTime<Utc>,
}

/// Orders tagged units: first those that an open job can't do without, or that a plan left one out for, by when they are wanted
/// and how weighty those jobs are; then those that published plans work with, by when; the rest by when they were tagged.
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
    let left = LeftOut::of(plans, now);
    let mut wants: Vec<(Want, i32, i64)> = tags
        .iter()
        .map(|tag| {
            let mine = by_id.get(tag.unit_id.as_str()).copied();
            let carries = mine.is_some_and(|unit| unit.kind.carries());
            let planned: Vec<Planned> = plans
                .iter()
                .map(|plan| planned(plan, &tag.unit_id, carries, now))
                .collect();
            let wanting: Vec<Wanting> = jobs
                .iter()
                .filter_map(|open| {
                    let left = left.for_want_of(tag, open.job);
                    let stuck = mine.is_some_and(|unit| needs(open, unit, &fit, &whole));
                    (stuck || left.is_some()).then(|| Wanting {
                        stuck,
                        when: left.unwrap_or(open.until),
                        priority: open.job.priority,
                    })
                })
                .collect();
            let stuck = wanting.iter().filter(|job| job.stuck).count();
            let times = planned.iter().filter_map(|planned| planned.first);
            let next_need = times.chain(wanting.iter().map(|job| job.when)).min();
            let late = next_need
                .is_some_and(|need| tag.expected_return_time.is_none_or(|back| back > need));
            let weight = wanting.iter().map(|job| job.priority).sum();
            let want = Want {
                tag_id: tag.id.clone(),
                next_need,
                jobs_without_substitute: stuck,
                jobs_left_out: wanting.len() - stuck,
                planned_stops: planned.iter().map(|planned| planned.stops).sum(),
                late,
            };
            (want, weight, tag.number)
        })
        .collect();
    wants.sort_by_key(|(want, weight, number)| {
        (
            want.jobs_without_substitute + want.jobs_left_out == 0,
            want.next_need.is_none(),
            want.next_need,
            std::cmp::Reverse(*weight),
            std::cmp::Reverse(want.planned_stops),
            *number,
        )
    });
    wants.into_iter().map(|(want, ..)| want).collect()
}

/// An open job that wants a unit.
struct Wanting {
    /// No fit unit can do it.
    stuck: bool,
    /// When it is, or was, to be done.
    when: DateTime<Utc>,
    /// From 1 to 5.
    priority: i32,
}

/// What published plans leave out.
struct LeftOut<'a>(BTreeMap<&'a str, Vec<(&'a Reasons, DateTime<Utc>)>>);

impl<'a> LeftOut<'a> {
    /// Jobs that no published plan does, and some leave out, each with why, and when it was to be done: when the plan's first
    /// crew leaves, or now.
    fn of(plans: &'a [StoredPlan], now: DateTime<Utc>) -> Self {
        let stops = plans.iter().flat_map(|plan| &plan.parts.stops);
        let planned: BTreeSet<&str> = stops.map(|stop| stop.job_id.as_str()).collect();
        let mut left: BTreeMap<&str, Vec<(&Reasons, DateTime<Utc>)>> = BTreeMap::new();
        for plan in plans {
            let days = plan.parts.crew_days.iter();
            let leaves = days.filter_map(|day| day.depart_time).min();
            let when = leaves.map_or(now, |leaves| leaves.max(now));
            for row in &plan.parts.unplanned {
                let id = row.job_id.as_str();
                if !planned.contains(id) {
                    left.entry(id).or_default().push((&row.reasons, when));
                }
            }
        }
        Self(left)
    }

    /// When a job was to be done that is left out for want of a tagged unit; none where it is not.
    fn for_want_of(&self, tag: &tag_out::Model, job: &job::Model) -> Option<DateTime<Utc>> {
        let unit = format!("branches/{}/units/{}", tag.branch_id, tag.unit_id);
        let names_it = |reason: &Reason| {
            reason.kind == ReasonKind::UnitTaggedOut && reason.subjects.contains(&unit)
        };
        let rows = self.0.get(job.id.as_str())?.iter();
        rows.filter(|(reasons, _)| reasons.0.iter().any(names_it))
            .map(|(_, when)| *when)
            .min()
    }
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

    /// Whether a task of a job can be done with these units.
    fn serves(&self, open: &OpenJob<'_>, task: &Task) -> bool {
        let may: Vec<&unit::Model> = self
            .units
            .iter()
            .copied()
            .filter(|unit| {
                let forbidden = self.forbidden.get(unit.id.as_str());
                forbidden.is_none_or(|kinds| !kinds.contains(&task.kind))
            })
            .collect();
        may.iter().any(|unit| gives(open, task, unit, &may))
    }
}

/// Whether a task of the job can be done by no fit unit, and could be with this one among the units.
fn needs(open: &OpenJob<'_>, unit: &unit::Model, fit: &Fit<'_>, all: &[&unit::Model]) -> bool {
    let tasks = open.job.tasks.0.iter();
    tasks
        .filter(|task| !task.capabilities.is_empty())
        .any(|task| !fit.serves(open, task) && serves(open, task, unit, all))
}

/// Whether the unit has a part in doing the task: gives the capability itself, or drives what does.
fn serves(open: &OpenJob<'_>, task: &Task, unit: &unit::Model, all: &[&unit::Model]) -> bool {
    gives(open, task, unit, all)
        || (unit.kind == UnitKind::Powerhead
            && all.iter().any(|other| {
                other.kind == UnitKind::Attachment
                    && other.coupling == unit.coupling
                    && capable(open, task, other)
            }))
}

/// Whether the unit gives a capability that the task takes; an attachment wants its powerhead among the units.
fn gives(open: &OpenJob<'_>, task: &Task, unit: &unit::Model, units: &[&unit::Model]) -> bool {
    capable(open, task, unit)
        && (unit.kind != UnitKind::Attachment
            || units
                .iter()
                .any(|other| other.kind == UnitKind::Powerhead && other.coupling == unit.coupling))
}

/// Whether the unit has a capability that the task takes, and gate and slope let it go there.
fn capable(open: &OpenJob<'_>, task: &Task, unit: &unit::Model) -> bool {
    let has = |wanted: &Capability| unit.capabilities.0.contains(wanted);
    task.capabilities.iter().any(has)
        && open
            .site
            .is_none_or(|site| goes_there(open.job, site, task, unit))
}
