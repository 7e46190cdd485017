//! The tasks of a job, composed from what the site is like.
//!
//! Whoever books a job describes the place; the rules of the trade decide what is done, with what,
//! how often and in which order. Each task carries the [`Rule`] that put it there, so a sheet can
//! say why. A person may edit the list; [`breaches`] says which rules an edited list no longer
//! keeps.

mod breach;
mod notice;
pub mod rules;

pub use breach::{Breach, Step, breaches};
pub use notice::{KEEP_CLEAR, Notice};
pub use rules::Rule;

use crate::estimate::{Work, cutting_passes};
use crate::fault::{Fault, within};
use crate::rates::Rates;
use crate::site::{Area, AreaKind, Condition, Ground};
use crate::task::{Measure, Method, TaskKind};
use crate::units::{Metres, Minutes, SquareMetres};
use rules::{
    KNOCKED_DOWN_TO, breaks_one_third, head_for, needs_knock_down, needs_second_pass, needs_shovel,
    stage, trim_length,
};

/// What becomes of debris.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Debris {
    /// It may be blown off paving into turf and beds.
    #[default]
    Blowable,
    /// It may not or cannot be blown: it is collected, and the mower collects too.
    MustCollect,
}

/// Whether turf may take several visits to come down.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Finish {
    /// A third of the blade at a time, over several visits.
    #[default]
    InStages,
    /// A deadline wants the set height on this visit.
    ThisVisit,
}

/// One visit as it is described when the job is booked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Visit<'a> {
    /// The areas to be worked on.
    pub areas: &'a [Area],
    /// What becomes of debris.
    pub debris: Debris,
    /// Thrown or blown things would do harm here (people, cars, glass, water).
    pub sensitive: bool,
    /// Whether turf may come down in stages.
    pub finish: Finish,
    /// Minutes of a meeting promised before the work.
    pub meet_before: Option<Minutes>,
    /// Minutes of a meeting promised after the work.
    pub meet_after: Option<Minutes>,
}

impl<'a> Visit<'a> {
    /// A plain visit to some areas: debris may be blown, nothing is promised.
    pub const fn to(areas: &'a [Area]) -> Self {
        Self {
            areas,
            debris: Debris::Blowable,
            sensitive: false,
            finish: Finish::InStages,
            meet_before: None,
            meet_after: None,
        }
    }
}

/// A task of a composed job.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Planned {
    /// What is done, ready to be estimated.
    pub work: Work,
    /// The area, by its place in the visit's areas; none for the site as a whole.
    pub area: Option<usize>,
    /// The rule that put it here.
    pub rule: Rule,
}

/// A job made by the rules.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Composition {
    /// The tasks in order of work.
    pub tasks: Vec<Planned>,
    /// What else a person must know.
    pub notices: Vec<Notice>,
}

/// A fault in the description, and the area it is in.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("{fault}")]
pub struct Misdescribed {
    /// The area, by its place in the visit's areas; none for the visit as a whole.
    pub area: Option<usize>,
    /// What is wrong.
    pub fault: Fault,
}

/// Composes the tasks of a visit by the rules.
///
/// # Errors
/// Every fault of the description at once. A description without areas is one.
pub fn compose(visit: &Visit<'_>, rates: &Rates) -> Result<Composition, Vec<Misdescribed>> {
    let mut faults = faults(visit);
    if !faults.is_empty() {
        return Err(faults);
    }
    let mut job = Composition::default();
    for (index, area) in visit.areas.iter().enumerate() {
        if let Err(fault) = add_area(&mut job, visit, index, area, rates) {
            faults.push(Misdescribed {
                area: Some(index),
                fault,
            });
        }
    }
    if !faults.is_empty() {
        return Err(faults);
    }
    add_cleaning(&mut job, visit, rates);
    add_walks(&mut job, visit);
    // Stable: within a stage the areas keep the order they were described in.
    job.tasks
        .sort_by_key(|task| stage(task.work.kind, task.work.method, visit.sensitive));
    Ok(job)
}

fn faults(visit: &Visit<'_>) -> Vec<Misdescribed> {
    let mut faults = Vec::new();
    let whole = |fault| Misdescribed { area: None, fault };
    if visit.areas.is_empty() {
        faults.push(whole(Fault::Empty {
            field: "visit.areas",
        }));
    }
    let meetings = [
        ("visit.meet_before_minutes", visit.meet_before),
        ("visit.meet_after_minutes", visit.meet_after),
    ];
    for (field, minutes) in meetings {
        let minutes = minutes.unwrap_or_default();
        faults.extend(within(field, minutes.value(), 0.0, 480.0).err().map(whole));
    }
    for (index, area) in visit.areas.iter().enumerate() {
        faults.extend(area.faults().map(|fault| Misdescribed {
            area: Some(index),
            fault,
        }));
    }
    faults
}

/// A task on an area, once over.
fn task(
    kind: TaskKind,
    method: Method,
    measure: Measure,
    (ground, condition): (Ground, Condition),
    (area, rule): (Option<usize>, Rule),
) -> Planned {
    let work = Work {
        kind,
        method,
        measure,
        ground,
        condition,
        passes: 1,
        meeting: Minutes::ZERO,
    };
    Planned { work, area, rule }
}

fn add_area(
    job: &mut Composition,
    visit: &Visit<'_>,
    index: usize,
    area: &Area,
    rates: &Rates,
) -> Result<(), Fault> {
    match area.kind {
        AreaKind::Turf(turf) => add_turf(job, visit, index, area, turf, rates),
        AreaKind::HardEdge(length) => {
            add_edge(job, index, area, length);
            Ok(())
        }
        AreaKind::Brush(brush) => {
            let on = (area.ground, area.condition);
            add_cutting(
                job,
                TaskKind::CutBrush,
                brush,
                on,
                (index, Rule::BrushBeforeTurf),
                rates,
            )
        }
        AreaKind::Border(_) | AreaKind::Bed(_) => add_trim(job, index, area, rates),
        AreaKind::HardSurface(_) => Ok(()),
    }
}

fn add_edge(job: &mut Composition, index: usize, area: &Area, length: Metres) {
    let on = (area.ground, area.condition);
    let measure = Measure::Length(length);
    if needs_shovel(&area.condition) {
        let why = (Some(index), Rule::ShovelDeepOvergrowth);
        job.tasks
            .push(task(TaskKind::Edge, Method::FlatShovel, measure, on, why));
    }
    let why = (Some(index), Rule::EdgerOnHardEdges);
    job.tasks
        .push(task(TaskKind::Edge, Method::Edger, measure, on, why));
}

/// Cutting with a head: which head, and how many passes its line needs.
fn add_cutting(
    job: &mut Composition,
    kind: TaskKind,
    area: SquareMetres,
    (ground, condition): (Ground, Condition),
    (index, otherwise): (usize, Rule),
    rates: &Rates,
) -> Result<(), Fault> {
    let (method, rule) = head_for(condition.stem, otherwise);
    let measure = Measure::Area(area);
    let mut cutting = task(
        kind,
        method,
        measure,
        (ground, condition),
        (Some(index), rule),
    );
    cutting.work.passes = cutting_passes(method, condition.stem, rates)?;
    job.tasks.push(cutting);
    let clear = Notice::KeepClear {
        distance: KEEP_CLEAR,
    };
    if !job.notices.contains(&clear) {
        job.notices.push(clear);
    }
    Ok(())
}

fn add_trim(job: &mut Composition, index: usize, area: &Area, rates: &Rates) -> Result<(), Fault> {
    let length = trim_length(area, rates);
    // Less than a stride is part of the mowing.
    if length < Metres::new(0.5) {
        return Ok(());
    }
    let on = (area.ground, area.condition);
    let why = (Some(index), Rule::TrimBeforeMow);
    let mut trim = task(
        TaskKind::Trim,
        Method::LineHead,
        Measure::Length(length),
        on,
        why,
    );
    trim.work.passes = cutting_passes(Method::LineHead, area.condition.stem, rates)?;
    job.tasks.push(trim);
    Ok(())
}

fn add_turf(
    job: &mut Composition,
    visit: &Visit<'_>,
    index: usize,
    area: &Area,
    turf: SquareMetres,
    rates: &Rates,
) -> Result<(), Fault> {
    let mut condition = area.condition;
    if needs_knock_down(&condition) {
        let on = (area.ground, condition);
        let why = (index, Rule::KnockDownBeforeMower);
        add_cutting(job, TaskKind::KnockDown, turf, on, why, rates)?;
        job.notices.push(Notice::HiddenObstacles { area: index });
        if condition.turf_height.value() * 2.0 / 3.0 > KNOCKED_DOWN_TO.value() {
            job.notices
                .push(Notice::KnockDownPastOneThird { area: index });
        }
        // The head has been round every obstacle, so there is nothing left to trim.
        condition.turf_height = condition.turf_height.min(KNOCKED_DOWN_TO);
        condition.laid = true;
    } else {
        add_trim(job, index, area, rates)?;
    }
    let twice = needs_second_pass(&condition);
    if breaks_one_third(&condition) {
        condition.set_height = hold_one_third(job, visit, index, &condition);
    }
    let method = match visit.debris {
        Debris::Blowable => Method::Mower,
        Debris::MustCollect => Method::CollectingMower,
    };
    let on = (area.ground, condition);
    let measure = Measure::Area(turf);
    let why = (Some(index), Rule::MowTurf);
    job.tasks
        .push(task(TaskKind::Mow, method, measure, on, why));
    if twice {
        let why = (Some(index), Rule::SecondPassAcross);
        job.tasks
            .push(task(TaskKind::SecondPass, method, measure, on, why));
    }
    Ok(())
}

/// The height this visit leaves, and the notice of how the one-third rule fares.
fn hold_one_third(
    job: &mut Composition,
    visit: &Visit<'_>,
    index: usize,
    condition: &Condition,
) -> Metres {
    let set = condition.set_height;
    match visit.finish {
        Finish::ThisVisit => {
            job.notices.push(Notice::DeadlineOverridesOneThird {
                area: index,
                removed_share: 1.0 - set / condition.turf_height,
            });
            set
        }
        Finish::InStages => {
            // A third at a time reaches any set height from any mowable height in a few steps.
            let heights: Vec<Metres> =
                core::iter::successors(Some(condition.turf_height * (2.0 / 3.0)), |height| {
                    (*height > set).then(|| *height * (2.0 / 3.0))
                })
                .map(|height| height.max(set))
                .collect();
            let first = heights.first().copied().unwrap_or(set);
            job.notices.push(Notice::CutInStages {
                area: index,
                heights,
            });
            first
        }
    }
}

/// Blowing or collecting, by what may become of the debris.
fn add_cleaning(job: &mut Composition, visit: &Visit<'_>, rates: &Rates) {
    let paving: SquareMetres = visit
        .areas
        .iter()
        .filter_map(|area| match area.kind {
            AreaKind::HardSurface(surface) => Some(surface),
            _ => None,
        })
        .sum();
    let beside_edges: Metres = visit
        .areas
        .iter()
        .filter_map(|area| match area.kind {
            AreaKind::HardEdge(length) => Some(length),
            _ => None,
        })
        .sum();
    let paving = if paving > SquareMetres::ZERO {
        paving
    } else {
        beside_edges.by(Metres::new(rates.paving_breadth_metres.value))
    };
    let felled = |kind: TaskKind| -> SquareMetres {
        job.tasks
            .iter()
            .filter(|task| task.work.kind == kind)
            .filter_map(|task| match task.work.measure {
                Measure::Area(area) => Some(area),
                Measure::Length(_) => None,
            })
            .sum()
    };
    let whole = (Ground::default(), overall(visit, job));
    let after = |otherwise| {
        if visit.sensitive {
            Rule::CleanBeforeMowing
        } else {
            otherwise
        }
    };
    // Woody cuttings cannot be blown anywhere.
    let to_collect = felled(TaskKind::CutBrush)
        + match visit.debris {
            Debris::Blowable => SquareMetres::ZERO,
            Debris::MustCollect => paving + felled(TaskKind::KnockDown),
        };
    let least = SquareMetres::new(0.01);
    if to_collect >= least {
        let measure = Measure::Area(to_collect);
        let why = (None, after(Rule::CollectWhatCannotBeBlown));
        job.tasks.push(task(
            TaskKind::Collect,
            Method::RakeAndBag,
            measure,
            whole,
            why,
        ));
    }
    if visit.debris == Debris::Blowable && paving >= least {
        let measure = Measure::Area(paving);
        let why = (None, after(Rule::BlowLast));
        job.tasks
            .push(task(TaskKind::BlowOff, Method::Blower, measure, whole, why));
    }
}

fn add_walks(job: &mut Composition, visit: &Visit<'_>) {
    let walked: SquareMetres = visit
        .areas
        .iter()
        .map(|area| match area.kind {
            AreaKind::Turf(area)
            | AreaKind::Brush(area)
            | AreaKind::Bed(area)
            | AreaKind::HardSurface(area) => area,
            // One walks along a length and sees a stride of it.
            AreaKind::HardEdge(length) | AreaKind::Border(length) => length.by(Metres::new(1.0)),
        })
        .sum();
    let measure = Measure::Area(walked.min(crate::site::LARGEST_AREA));
    let condition = overall(visit, job);
    let on = (Ground::default(), condition);
    let mut before = task(
        TaskKind::WalkBefore,
        Method::OnFoot,
        measure,
        on,
        (None, Rule::WalkFirst),
    );
    before.work.meeting = visit.meet_before.unwrap_or_default();
    let mut after = task(
        TaskKind::WalkAfter,
        Method::OnFoot,
        measure,
        on,
        (None, Rule::WalkLast),
    );
    after.work.meeting = visit.meet_after.unwrap_or_default();
    job.tasks.extend([before, after]);
}

/// The state of the site as a whole: as tall, wet and new as the worst of it.
fn overall(visit: &Visit<'_>, job: &Composition) -> Condition {
    let mut overall = Condition {
        turf_height: Metres::ZERO,
        ..Condition::default()
    };
    for Area { condition, .. } in visit.areas {
        overall.turf_height = overall.turf_height.max(condition.turf_height);
        overall.wet |= condition.wet;
        overall.first_service |= condition.first_service;
    }
    overall.laid = job
        .tasks
        .iter()
        .any(|task| task.work.kind == TaskKind::KnockDown);
    overall
}
