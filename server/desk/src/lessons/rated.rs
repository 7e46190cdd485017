//! What a past visit's tasks would have taken by the rates alone, as a sheet of that day would have told it.
//!
//! A crew takes its time from the sheet, and reports what the sheet speaks of: so the wait for a tool that two share is
//! with the first task that is done with it, and the rests that the plan's weather called for are in each task. Without
//! them a crew that keeps to its sheet would seem slow, and its next sheet be longer.

use std::collections::BTreeMap;

use forenoon_store::entity::unit;
use forenoon_store::value::{Capability, Task, TaskActual};
use forenoon_trade::equipment::Equipment;
use forenoon_trade::estimate::{Crew, Estimate, Tooled, Work, estimate, wait};
use forenoon_trade::exposure::heat::{Advice, Effort};
use forenoon_trade::learn::Learned;
use forenoon_trade::rates::Rates;
use forenoon_trade::task::Method;
use forenoon_trade::units::Minutes;

use super::PastVisit;
use crate::heat::advice;
use crate::service::agreed;
use crate::trade_map::{JobWork, equipment, method, task_kind};

/// A task whose crew told what it took.
pub(super) struct Rated {
    /// The work, as it was done.
    pub(super) work: Work,
    /// What the rates alone give for it, with its wait and its rests.
    pub(super) rate: Minutes,
    /// What it took.
    pub(super) actual: Minutes,
}

/// How one task was done.
struct Done {
    way: Way,
    work: Work,
    estimate: Estimate,
    /// None where it was too hot for the work by the plan's weather: no rests are known that would have allowed it.
    stretch: Option<f64>,
}

/// A method with its tool, and the units that it was.
struct Way {
    method: Method,
    equipment: Equipment,
    units: Vec<String>,
    /// Whether it tells of a rate that somebody worked at.
    is_told: bool,
}

/// The tasks of a visit that something can be learned from. `meeting` is the one that a task had in it.
pub(super) fn rated(
    past: &PastVisit,
    units: &[unit::Model],
    crew: Crew,
    meeting: impl Fn(&Task) -> Minutes,
    rates: &Rates,
) -> Vec<Rated> {
    let work = JobWork::new(&past.job, &past.site, rates);
    let weather = past.heat.as_ref().and_then(advice);
    let done: Vec<Option<Done>> = past
        .job
        .tasks
        .0
        .iter()
        .map(|task| {
            let way = way(task, told(past, task), units)?;
            let work = work.work(task, way.method, meeting(task));
            let estimate = match task.agreed_minutes {
                Some(minutes) => agreed(minutes, &way.equipment, crew),
                None => estimate(&work, &way.equipment, crew, rates, &Learned::NOTHING).ok()?,
            };
            let stretch = stretch(weather.as_ref(), task, &way.equipment);
            Some(Done {
                way,
                work,
                estimate,
                stretch,
            })
        })
        .collect();
    let waits = waits(&done, crew);
    let tasks = past.job.tasks.0.iter().zip(done).zip(waits);
    tasks
        .filter_map(|((task, done), wait)| {
            let (done, actual) = (done?, told(past, task)?);
            if task.agreed_minutes.is_some() || !done.way.is_told {
                return None;
            }
            Some(Rated {
                work: done.work,
                rate: done.estimate.median * done.stretch? + wait,
                actual: Minutes::from_seconds(f64::from(actual.duration_seconds)),
            })
        })
        .collect()
}

fn told<'a>(past: &'a PastVisit, task: &Task) -> Option<&'a TaskActual> {
    let mut actuals = past.visit.task_actuals.0.iter();
    actuals.find(|actual| actual.task_id == task.task_id)
}

/// What each task waits for a tool, as a plan tells it. One person never waits.
fn waits(done: &[Option<Done>], crew: Crew) -> Vec<Minutes> {
    let mut waits = vec![Minutes::ZERO; done.len()];
    if crew.size < 2 {
        return waits;
    }
    let mut known = BTreeMap::new();
    let mut number = |tool: String| {
        let next = u32::try_from(known.len()).unwrap_or(u32::MAX);
        *known.entry(tool).or_insert(next)
    };
    let (places, tasks): (Vec<usize>, Vec<Tooled>) = done
        .iter()
        .enumerate()
        .filter_map(|(place, one)| Some((place, one.as_ref()?)))
        .map(|(place, one)| {
            let mut tools = one.way.units.iter().cloned();
            let first = match tools.next() {
                None if one.way.method == Method::OnFoot => None,
                None => Some(format!("usual {}", one.way.method)),
                unit => unit,
            };
            let task = Tooled {
                estimate: stretched(&one.estimate, one.stretch.unwrap_or(1.0)),
                tools: [first.map(&mut number), tools.next().map(&mut number)],
            };
            (place, task)
        })
        .unzip();
    if let Some((first, wait)) = wait(&tasks) {
        waits[places[first]] = wait;
    }
    waits
}

/// An estimate with its rests: they lengthen what the crew takes, and what its tool is bound by.
fn stretched(estimate: &Estimate, stretch: f64) -> Estimate {
    Estimate {
        median: estimate.median * stretch,
        fixed: estimate.fixed * stretch,
        alone: estimate.alone * stretch,
        ..*estimate
    }
}

fn stretch(weather: Option<&Advice>, task: &Task, tool: &Equipment) -> Option<f64> {
    weather.map_or(Some(1.0), |advice| {
        let effort = Effort::of(task_kind(task.kind), tool.kind);
        advice.rests(effort).stretch()
    })
}

/// How a task was done: with the units told, or by its first choice with its usual tool where none was told. Units that
/// are not known, or did not do this work, tell of no tool: a usual one in their place would teach a rate that nobody
/// worked at, though it was in somebody's hands meanwhile.
fn way(task: &Task, actual: Option<&TaskActual>, units: &[unit::Model]) -> Option<Way> {
    let ids = actual.map_or(&[][..], |actual| &actual.unit_ids);
    let told = ids
        .iter()
        .filter_map(|id| units.iter().find(|unit| unit.id == *id))
        .find_map(|unit| {
            let method = method(serving(task, unit)?)?;
            Some((unit, method))
        });
    if let Some((unit, method)) = told {
        let others = ids.iter().filter(|id| **id != unit.id);
        return Some(Way {
            method,
            equipment: equipment(unit, method),
            units: std::iter::once(&unit.id).chain(others).cloned().collect(),
            is_told: true,
        });
    }
    let (method, is_told) = match task.capabilities.first() {
        None => (Method::OnFoot, true),
        Some(capability) => (method(*capability)?, ids.is_empty()),
    };
    Some(Way {
        method,
        equipment: Equipment::usual_for(method),
        units: Vec::new(),
        is_told,
    })
}

fn serving(task: &Task, unit: &unit::Model) -> Option<Capability> {
    task.capabilities
        .iter()
        .copied()
        .find(|capability| unit.capabilities.0.contains(capability))
}
