//! The tasks that each area, and the site as a whole, adds to a job.

use super::rules::{
    KNOCKED_DOWN_TO, breaks_one_third, head_for, needs_knock_down, needs_second_pass, needs_shovel,
    trim_length,
};
use super::{Composition, Debris, Finish, KEEP_CLEAR, Notice, Planned, Rule, Visit};
use crate::estimate::{Work, cutting_passes};
use crate::fault::Fault;
use crate::rates::Rates;
use crate::site::{Area, AreaKind, Condition, Ground, LARGEST_AREA};
use crate::task::{Measure, Method, TaskKind};
use crate::units::{Metres, Minutes, SquareMetres};

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

pub(super) fn area(
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
pub(super) fn cleaning(job: &mut Composition, visit: &Visit<'_>, rates: &Rates) {
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

pub(super) fn walks(job: &mut Composition, visit: &Visit<'_>) {
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
    let measure = Measure::Area(walked.min(LARGEST_AREA));
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
