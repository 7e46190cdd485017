//! Units of one crew's day: what is aboard, what is used, what fits, what is free.

use super::day::{beginning, home_at};
use super::{Moment, Violation};
use crate::Seconds;
use crate::index::{CrewIx, JobIx, UnitIx};
use crate::plan::{CrewPlan, Stop, TaskPlan, Visit};
use crate::problem::{Problem, Progress, Role, ToolChoice};

/// A stretch in which a crew has a unit.
struct Hold {
    unit: UnitIx,
    from: Seconds,
    to: Seconds,
    /// Aboard when the part to be planned begins.
    from_before: bool,
    used: bool,
}

pub(super) fn check(
    problem: &Problem,
    crew_ix: CrewIx,
    plan: &CrewPlan,
    found: &mut Vec<Violation>,
) {
    let crew = problem.crew(crew_ix);
    let (_, begin, _, out) = beginning(crew);
    check_first_load(problem, crew_ix, plan, found);
    let mut done: Vec<Hold> = Vec::new();
    let mut aboard: Vec<Hold> = plan
        .load_out
        .iter()
        .map(|&unit| Hold {
            unit,
            from: begin,
            to: begin,
            from_before: out,
            used: false,
        })
        .collect();
    check_space(problem, crew_ix, &aboard, found);
    let mut calls: u8 = 0;
    for (ix, stop) in plan.stops.iter().enumerate() {
        if stop.frozen {
            continue;
        }
        let at = Moment {
            crew: crew_ix,
            stop: ix,
        };
        if !matches!(stop.visit, Visit::Job { .. }) {
            calls = calls.saturating_add(1);
            if calls > crew.calls_max {
                found.push(Violation::YardCall { at });
            }
        }
        match &stop.visit {
            Visit::Job { job, tasks } => {
                check_tasks(problem, crew_ix, *job, tasks, &mut aboard, at, found);
            }
            Visit::Yard { unload, load } => {
                for &unit in unload.iter().chain(load) {
                    if problem.unit(unit).home != stop.place {
                        found.push(Violation::NotAtYard {
                            crew: crew_ix,
                            unit,
                        });
                    }
                }
                put_down(unload, at, stop, &mut aboard, &mut done, found);
                take(load, stop, &mut aboard);
                check_space(problem, crew_ix, &aboard, found);
            }
            Visit::Meet {
                give, take: taken, ..
            } => {
                put_down(give, at, stop, &mut aboard, &mut done, found);
                take(taken, stop, &mut aboard);
                check_space(problem, crew_ix, &aboard, found);
            }
        }
    }
    for mut hold in aboard {
        hold.to = plan.back_at;
        done.push(hold);
    }
    for hold in &done {
        check_available(problem, crew_ix, hold, found);
    }
}

/// Units leave the vehicle.
fn put_down(
    units: &[UnitIx],
    at: Moment,
    stop: &Stop,
    aboard: &mut Vec<Hold>,
    done: &mut Vec<Hold>,
    found: &mut Vec<Violation>,
) {
    for &unit in units {
        match aboard.iter().position(|hold| hold.unit == unit) {
            Some(position) => {
                let mut hold = aboard.remove(position);
                hold.to = stop.finish;
                done.push(hold);
            }
            None => found.push(Violation::NotAboard { at, unit }),
        }
    }
}

/// Units come aboard, by the crew's own start of work at the stop.
fn take(units: &[UnitIx], stop: &Stop, aboard: &mut Vec<Hold>) {
    aboard.extend(units.iter().map(|&unit| Hold {
        unit,
        from: stop.start,
        to: stop.start,
        from_before: false,
        used: false,
    }));
}

fn check_first_load(
    problem: &Problem,
    crew_ix: CrewIx,
    plan: &CrewPlan,
    found: &mut Vec<Violation>,
) {
    match &problem.crew(crew_ix).progress {
        Progress::NotStarted => {
            for &unit in &plan.load_out {
                if problem.unit(unit).home != problem.crew(crew_ix).start {
                    found.push(Violation::NotAtYard {
                        crew: crew_ix,
                        unit,
                    });
                }
            }
        }
        Progress::UnderWay(way) => {
            let mut aboard = way.aboard.clone();
            aboard.sort_unstable();
            if aboard != plan.load_out {
                found.push(Violation::AboardChanged { crew: crew_ix });
            }
        }
    }
}

fn check_space(problem: &Problem, crew: CrewIx, aboard: &[Hold], found: &mut Vec<Violation>) {
    let needed: u64 = aboard
        .iter()
        .map(|hold| u64::from(problem.class_of(hold.unit).space))
        .sum();
    let available = problem.crew(crew).load_space;
    if needed > u64::from(available) {
        found.push(Violation::LoadSpace {
            crew,
            needed,
            available,
        });
    }
}

/// A unit is available for the whole of the time the crew has it. One that is aboard already and cannot be back in
/// time any more may be carried, but not used.
fn check_available(problem: &Problem, crew_ix: CrewIx, hold: &Hold, found: &mut Vec<Violation>) {
    let whole = problem
        .unit(hold.unit)
        .available
        .iter()
        .any(|window| window.covers(hold.from, hold.to));
    let idle = hold.from_before && !hold.used;
    if !whole && !idle {
        found.push(Violation::NotAvailable {
            crew: crew_ix,
            unit: hold.unit,
        });
    }
}

fn check_tasks(
    problem: &Problem,
    crew_ix: CrewIx,
    job: JobIx,
    tasks: &[TaskPlan],
    aboard: &mut [Hold],
    at: Moment,
    found: &mut Vec<Violation>,
) {
    let wanted = problem.job(job).tasks.len();
    if tasks.len() != wanted {
        found.push(Violation::Task {
            at,
            task: tasks.len().min(wanted),
        });
        return;
    }
    for (task, plan) in tasks.iter().enumerate() {
        for unit in plan.unit.into_iter().chain(plan.powerhead) {
            match aboard.iter_mut().find(|hold| hold.unit == unit) {
                Some(hold) => hold.used = true,
                None => found.push(Violation::NotAboard { at, unit }),
            }
        }
        if !serves(problem, job, task, plan) {
            found.push(Violation::Task { at, task });
        }
        let size = problem.crew(crew_ix).size;
        let choices = problem.tool_choices(job, task, size);
        let Some(mine) = choices
            .iter()
            .find(|choice| is_choice(problem, choice, plan))
        else {
            found.push(Violation::Task { at, task });
            continue;
        };
        let pace = i64::from(problem.crew(crew_ix).pace_permille);
        let lasts = (i64::from(mine.seconds) * pace + 500).div_euclid(1_000);
        if lasts != plan.seconds || plan.wait_seconds < 0 {
            found.push(Violation::Task { at, task });
        }
        // Every tool that could be put together from what is aboard and usable is at least as slow.
        let usable = |class: crate::index::ClassIx| {
            aboard.iter().any(|hold| {
                problem.unit(hold.unit).class == class && can_be_back(problem, crew_ix, hold)
            })
        };
        let quicker = choices
            .iter()
            .any(|other| other.seconds < mine.seconds && other.tool.classes().all(usable));
        if quicker {
            found.push(Violation::NotQuickest { at, task });
        }
    }
}

/// Whether a unit that was aboard before may still be used.
fn can_be_back(problem: &Problem, crew_ix: CrewIx, hold: &Hold) -> bool {
    let home = home_at(problem, problem.crew(crew_ix));
    !hold.from_before
        || problem
            .unit(hold.unit)
            .available
            .iter()
            .any(|window| window.covers(hold.from, home))
}

fn is_choice(problem: &Problem, choice: &ToolChoice, plan: &TaskPlan) -> bool {
    let planned: Vec<_> = plan
        .unit
        .into_iter()
        .chain(plan.powerhead)
        .map(|unit| problem.unit(unit).class)
        .collect();
    choice.method == plan.method && choice.tool.classes().eq(planned)
}

/// Capability, coupling, gate and slope, from the raw data.
fn serves(problem: &Problem, job: JobIx, task: usize, plan: &TaskPlan) -> bool {
    let Some(method) = problem.job(job).tasks[task].methods.get(plan.method) else {
        return false;
    };
    let Some(unit) = plan.unit else {
        return method.capability.is_none() && plan.powerhead.is_none();
    };
    let class = problem.class_of(unit);
    let able = method
        .capability
        .is_some_and(|capability| class.capabilities.contains(&capability));
    let power = plan.powerhead.map(|powerhead| problem.class_of(powerhead));
    let coupled = match (class.role, power.map(|class| class.role)) {
        (Role::Attachment { coupling }, Some(Role::Powerhead { coupling: other })) => {
            coupling == other
        }
        (Role::Whole | Role::Powerhead { .. }, None) => true,
        _ => false,
    };
    let parts = || std::iter::once(class).chain(power);
    let passes = method
        .gate_mm
        .is_none_or(|gate| parts().all(|part| part.width_mm <= gate));
    let stands = parts().all(|part| part.slope_max_permille >= method.slope_permille);
    able && coupled && passes && stands
}
