//! What keeps a day from going as planned, from the wire.

use std::collections::BTreeSet;

use forenoon_proto::v1;
use forenoon_proto::v1::disruption::Disruption as One;
use forenoon_store::value::{Disruptions, Overrun, TaskKind, UnitMoved, WorkStop};

use crate::edge::checks::Checks;
use crate::edge::task_kind;
use crate::work::Reason;

/// Most disruptions of one request.
const COUNT_MAX: usize = 50;
/// There are fewer kinds of work than this.
const KINDS_MAX: usize = 50;
/// Most units of one move.
const UNITS_MAX: usize = 200;
/// Longest overrun: a day.
const MINUTES_MAX: i32 = 1_440;

/// The disruptions of a request, put together by what they are.
pub(super) fn from_wire(
    checks: &mut Checks,
    branch: &str,
    wire: Vec<v1::Disruption>,
) -> Option<Disruptions> {
    let found = checks.each(
        "disruptions",
        wire,
        COUNT_MAX,
        |checks, v1::Disruption { disruption }| {
            let one = checks.required("disruption", disruption)?;
            let mut into = Disruptions::default();
            match one {
                One::AbsentCrew(crew) => {
                    let crew = id(checks, branch, ("absent_crew", "crews"), &crew)?;
                    into.absent_crews.push(crew);
                }
                One::AbsentWorker(worker) => {
                    let worker = id(checks, branch, ("absent_worker", "workers"), &worker)?;
                    into.absent_workers.push(worker);
                }
                One::Overrun(wire) => {
                    let late = checks.within("overrun", |checks| overrun(checks, branch, wire))?;
                    into.overruns.push(late);
                }
                One::WorkStop(wire) => {
                    let stop = checks.within("work_stop", |checks| work_stop(checks, wire))?;
                    into.work_stops.push(stop);
                }
                One::PresentCrew(crew) => {
                    let crew = id(checks, branch, ("present_crew", "crews"), &crew)?;
                    into.present_crews.push(crew);
                }
                One::PresentWorker(worker) => {
                    let worker = id(checks, branch, ("present_worker", "workers"), &worker)?;
                    into.present_workers.push(worker);
                }
                One::WorkResumption(v1::WorkResumption { kinds: wire }) => {
                    let resumed = checks.within("work_resumption", |checks| kinds(checks, wire))?;
                    into.resumed_kinds.extend(resumed);
                }
                One::UnitsMoved(wire) => {
                    let moved =
                        checks.within("units_moved", |checks| units_moved(checks, branch, wire))?;
                    into.units_moved.extend(moved);
                }
            }
            Some(into)
        },
    )?;
    let mut all = Disruptions::default();
    for one in found {
        all.absent_crews.extend(one.absent_crews);
        all.absent_workers.extend(one.absent_workers);
        all.overruns.extend(one.overruns);
        all.work_stops.extend(one.work_stops);
        all.present_crews.extend(one.present_crews);
        all.present_workers.extend(one.present_workers);
        all.resumed_kinds.extend(one.resumed_kinds);
        all.units_moved.extend(one.units_moved);
    }
    refuse_both(checks, &all)?;
    refuse_twice(checks, &all.units_moved)?;
    Some(all)
}

/// Nobody is both absent and present.
fn refuse_both(checks: &mut Checks, all: &Disruptions) -> Option<()> {
    let both = |absent: &[String], present: &[String]| {
        absent.iter().find(|id| present.contains(id)).cloned()
    };
    let found = both(&all.absent_crews, &all.present_crews)
        .or_else(|| both(&all.absent_workers, &all.present_workers));
    match found {
        Some(id) => checks.fault(
            "disruptions",
            Reason::Conflict,
            format!("{id} is said to be both absent and present"),
        ),
        None => Some(()),
    }
}

/// No unit is in two places.
fn refuse_twice(checks: &mut Checks, moved: &[UnitMoved]) -> Option<()> {
    let mut seen = BTreeSet::new();
    match moved.iter().find(|one| !seen.insert(&one.unit_id)) {
        Some(one) => checks.fault(
            "disruptions",
            Reason::Duplicate,
            format!("{} is said to have been moved twice", one.unit_id),
        ),
        None => Some(()),
    }
}

/// Units that were moved, at least one.
fn units_moved(checks: &mut Checks, branch: &str, wire: v1::UnitsMoved) -> Option<Vec<UnitMoved>> {
    let v1::UnitsMoved { units, crew } = wire;
    if units.is_empty() {
        return checks.fault("units", Reason::Required, "is empty; name the units");
    }
    let crew_id = checks.reference("crew", branch, "crews", &crew);
    let unit_ids = checks.each("units", units, UNITS_MAX, |checks, name| {
        id(checks, branch, ("", "units"), &name)
    });
    let (crew_id, unit_ids) = crew_id.zip(unit_ids)?;
    let moved = unit_ids.into_iter().map(|unit_id| UnitMoved {
        unit_id,
        crew_id: crew_id.clone(),
    });
    Some(moved.collect())
}

/// Kinds of work, at least one.
fn kinds(checks: &mut Checks, wire: Vec<i32>) -> Option<Vec<TaskKind>> {
    if wire.is_empty() {
        return checks.fault(
            "kinds",
            Reason::Required,
            "is empty; name the kinds of work",
        );
    }
    checks.each("kinds", wire, KINDS_MAX, |checks, kind| {
        checks.word("", kind, None, task_kind::from_wire)
    })
}

/// The id in a resource name that must be given.
fn id(
    checks: &mut Checks,
    branch: &str,
    (field, collection): (&str, &'static str),
    name: &str,
) -> Option<String> {
    if name.is_empty() {
        return checks.fault(field, Reason::Required, "is empty; name one");
    }
    checks.reference(field, branch, collection, name)?
}

fn overrun(checks: &mut Checks, branch: &str, wire: v1::Overrun) -> Option<Overrun> {
    let v1::Overrun { job, extra_minutes } = wire;
    let job_id = id(checks, branch, ("job", "jobs"), &job);
    let minutes = checks.whole("extra_minutes", extra_minutes, 1..=MINUTES_MAX);
    let (job_id, minutes) = job_id.zip(minutes)?;
    Some(Overrun {
        job_id,
        extra_seconds: i64::from(minutes) * 60,
    })
}

fn work_stop(checks: &mut Checks, wire: v1::WorkStop) -> Option<WorkStop> {
    let v1::WorkStop {
        kinds: waiting,
        start_time,
        end_time,
    } = wire;
    let kinds = kinds(checks, waiting);
    let start = checks
        .required("start_time", start_time)
        .and_then(|start| checks.instant("start_time", start));
    let end = checks
        .required("end_time", end_time)
        .and_then(|end| checks.instant("end_time", end));
    let ((kinds, start_time), end_time) = kinds.zip(start).zip(end)?;
    if end_time <= start_time {
        return checks.fault("end_time", Reason::EndBeforeStart, "is not after the start");
    }
    Some(WorkStop {
        kinds,
        start_time,
        end_time,
    })
}
