//! Times of one crew's day: drives, waiting, work, breaks, windows, promises, quiet times, the way home.

use std::collections::BTreeMap;

use super::{Moment, Violation, handover};
use crate::Seconds;
use crate::index::{CrewIx, JobIx, PlaceIx, UnitIx};
use crate::plan::{BreakTaken, CrewPlan, Stop, TaskPlan, Visit};
use crate::problem::{Bound, Crew, Meeting, Problem, Progress, Promise, ToolChoice, YardCall};

/// When the stop meets the customer.
pub(super) fn meeting(promise: &Promise, stop: &Stop) -> Seconds {
    match promise.at {
        Meeting::Start => stop.start,
        Meeting::Finish => stop.finish,
    }
}

/// Where the part to be planned begins: place, instant, breaks that count as taken, and whether the crew is out.
pub(super) fn beginning(crew: &Crew) -> (PlaceIx, Seconds, usize, bool) {
    let (place, at, taken, out) = match &crew.progress {
        Progress::NotStarted => (crew.start, crew.shift_start, 0, false),
        Progress::UnderWay(way) => (way.place, way.ready_at, way.breaks_taken, true),
    };
    let mut gone = taken;
    while crew.breaks.get(gone).is_some_and(|rest| rest.latest < at) {
        gone += 1;
    }
    (place, at, gone, out)
}

/// Drives by the hour: counts the road left in thousandths of a table second and lets each hour take its share.
pub(super) fn drive(problem: &Problem, from: PlaceIx, to: PlaceIx, departure: Seconds) -> Seconds {
    let table = problem.travel().table_seconds(from, to);
    let Some(pace) = problem.travel().pace() else {
        return table;
    };
    let mut road = table * 1_000;
    let mut seconds = 0;
    for hour in departure.div_euclid(3_600).. {
        if road <= 0 {
            break;
        }
        let begin = (departure + seconds).max(hour * 3_600);
        let permille = usize::try_from(hour.rem_euclid(24))
            .map_or(1_000, |hour| i64::from(pace.permille()[hour]));
        let needed = road / permille + i64::from(road % permille != 0);
        let here = needed.min((hour + 1) * 3_600 - begin);
        road -= here * permille;
        seconds += here;
    }
    seconds
}

/// Break time that falls into a stretch.
fn rested(breaks: &[BreakTaken], from: Seconds, to: Seconds) -> Seconds {
    breaks
        .iter()
        .filter(|rest| from <= rest.start && rest.finish <= to)
        .map(|rest| rest.finish - rest.start)
        .sum()
}

pub(super) fn check(
    problem: &Problem,
    crew_ix: CrewIx,
    plan: &CrewPlan,
    found: &mut Vec<Violation>,
) {
    let crew = problem.crew(crew_ix);
    let (mut place, mut free_at, _, out) = beginning(crew);
    let mut drives: Vec<(Seconds, Seconds)> = Vec::new();
    let mut planned = 0;
    let mut sums = (0, 0, 0, 0, 0);
    for (ix, stop) in plan.stops.iter().enumerate() {
        if stop.frozen {
            continue;
        }
        planned += 1;
        let at = Moment {
            crew: crew_ix,
            stop: ix,
        };
        check_place(problem, crew, stop, at, found);
        let departure = stop.arrival - stop.drive_seconds;
        let needed = drive(problem, place, stop.place, departure);
        if needed != stop.drive_seconds {
            found.push(Violation::Drive {
                at,
                stated: stop.drive_seconds,
                needed,
            });
        }
        let gap = departure - free_at - rested(&plan.breaks, free_at, departure);
        if gap != 0 {
            found.push(Violation::Gap { at, seconds: gap });
        }
        let unaccounted = stop.start
            - stop.arrival
            - stop.wait_seconds
            - rested(&plan.breaks, stop.arrival, stop.start);
        if unaccounted != 0 || stop.wait_seconds < 0 {
            found.push(Violation::Gap {
                at,
                seconds: unaccounted,
            });
        }
        let needed = work_needed(problem, crew, stop);
        let stated = stop.finish - stop.start - rested(&plan.breaks, stop.start, stop.finish);
        if stated != needed {
            found.push(Violation::Work { at, stated, needed });
        }
        check_job(problem, crew_ix, stop, at, found);
        drives.push((departure, stop.arrival));
        sums.0 += stop.drive_seconds;
        sums.1 += problem.travel().metres(place, stop.place);
        sums.2 += needed;
        sums.3 += stop.wait_seconds;
        sums.4 += exposure(problem, crew, stop);
        place = stop.place;
        free_at = stop.finish;
    }
    if planned > 0 || out {
        let departure = free_at + rested(&plan.breaks, free_at, Seconds::MAX);
        let home = drive(problem, place, crew.end, departure);
        drives.push((departure, departure + home));
        sums.0 += home;
        sums.1 += problem.travel().metres(place, crew.end);
        free_at = departure + home;
    }
    check_back(problem, crew_ix, plan, free_at, found);
    check_breaks(crew_ix, crew, plan, &drives, found);
    let totals = &plan.totals;
    let overtime = if planned > 0 || out {
        (free_at - crew.shift_end).max(0)
    } else {
        0
    };
    let breaks: Seconds = plan
        .breaks
        .iter()
        .map(|rest| rest.finish - rest.start)
        .sum();
    let stated = (
        totals.drive_seconds,
        totals.drive_metres,
        totals.work_seconds,
        totals.wait_seconds,
        totals.exposure,
    );
    if stated != sums || totals.overtime_seconds != overtime || totals.break_seconds != breaks {
        found.push(Violation::Totals { crew: crew_ix });
    }
}

fn check_place(
    problem: &Problem,
    crew: &Crew,
    stop: &Stop,
    at: Moment,
    found: &mut Vec<Violation>,
) {
    let expected = match &stop.visit {
        Visit::Job { job, .. } => Some(problem.job(*job).place),
        Visit::Yard { .. } => yard_of(crew, stop).map(|call| call.place),
        // Where two crews meet is for them to agree on.
        Visit::Meet { .. } => Some(stop.place),
    };
    if expected != Some(stop.place) {
        found.push(Violation::WrongPlace { at });
    }
}

/// The yard of a stop, if it is one of those at which the crew may call.
pub(super) fn yard_of<'c>(crew: &'c Crew, stop: &Stop) -> Option<&'c YardCall> {
    crew.yard_calls.iter().find(|call| call.place == stop.place)
}

fn work_needed(problem: &Problem, crew: &Crew, stop: &Stop) -> Seconds {
    match &stop.visit {
        Visit::Job { job, tasks } => {
            let fixed = Seconds::from(problem.job(*job).fixed_seconds);
            let waits = waits(problem, crew, *job, tasks);
            fixed + tasks.iter().map(|task| task.seconds).sum::<Seconds>() + waits
        }
        Visit::Yard { .. } => yard_of(crew, stop).map_or(0, |call| call.seconds),
        Visit::Meet { .. } => handover::seconds(problem, crew, stop).unwrap_or(0),
    }
}

/// Exposure points that the tasks of a stop add to the crew's day.
fn exposure(problem: &Problem, crew: &Crew, stop: &Stop) -> i64 {
    let Visit::Job { job, tasks } = &stop.visit else {
        return 0;
    };
    let tasks = tasks.iter().enumerate();
    let points = tasks.filter_map(|(task, plan)| {
        let choice = choice_of(problem, *job, task, crew.size, plan)?;
        Some((i64::from(choice.exposure) * i64::from(crew.pace_permille) + 500).div_euclid(1_000))
    });
    points.sum()
}

/// What a stop takes beyond its tasks: no tool is in two hands, and what needs none comes before and after the rest.
fn waits(problem: &Problem, crew: &Crew, job: JobIx, tasks: &[TaskPlan]) -> Seconds {
    if crew.size < 2 {
        return 0;
    }
    let mut bound: BTreeMap<UnitIx, Seconds> = BTreeMap::new();
    let (mut all, mut on_foot) = (0, 0);
    for (task, plan) in tasks.iter().enumerate() {
        all += plan.seconds;
        if plan.unit.is_none() {
            on_foot += plan.seconds;
        }
        let seconds = choice_of(problem, job, task, crew.size, plan).map_or(0, |choice| {
            (i64::from(choice.bound_seconds) * i64::from(crew.pace_permille) + 500)
                .div_euclid(1_000)
        });
        for unit in plan.unit.into_iter().chain(plan.powerhead) {
            *bound.entry(unit).or_default() += seconds;
        }
    }
    let longest = bound.into_values().max().unwrap_or(0);
    (on_foot + longest - all).max(0)
}

/// The way of doing a task that a plan says.
pub(super) fn choice_of<'p>(
    problem: &'p Problem,
    job: JobIx,
    task: usize,
    size: u8,
    plan: &TaskPlan,
) -> Option<&'p ToolChoice> {
    let units = plan.unit.into_iter().chain(plan.powerhead);
    let classes: Vec<_> = units.map(|unit| problem.unit(unit).class).collect();
    problem.tool_choices(job, task, size).iter().find(|choice| {
        choice.method == plan.method && choice.tool.classes().eq(classes.iter().copied())
    })
}

fn check_job(
    problem: &Problem,
    crew_ix: CrewIx,
    stop: &Stop,
    at: Moment,
    found: &mut Vec<Violation>,
) {
    let Visit::Job { job: job_ix, tasks } = &stop.visit else {
        return;
    };
    let (crew, job) = (problem.crew(crew_ix), problem.job(*job_ix));
    let inside = job.windows.iter().any(|window| {
        let last = if job.bound == Bound::Whole {
            stop.finish
        } else {
            stop.start
        };
        window.open <= stop.start && last <= window.close
    });
    if !inside {
        found.push(Violation::Window { at });
    }
    if let Some(promise) = job.promise
        && let met = meeting(&promise, stop)
        && (met < promise.open || (promise.hard && met > promise.close))
    {
        found.push(Violation::Promise { at });
    }
    let noisy = tasks.iter().any(|task| {
        task.unit
            .into_iter()
            .chain(task.powerhead)
            .any(|unit| problem.class_of(unit).noisy)
    });
    if noisy
        && job
            .quiet
            .iter()
            .any(|quiet| stop.start < quiet.close && stop.finish > quiet.open)
    {
        found.push(Violation::Quiet { at });
    }
    for &skill in &job.skills {
        if !crew.skills.contains(&skill) {
            found.push(Violation::Skill { at, skill });
        }
    }
    let listed = job
        .crews
        .as_ref()
        .is_none_or(|crews| crews.contains(&crew_ix));
    if !listed || crew.size < job.crew_size_min {
        found.push(Violation::Crew { at });
    }
}

fn check_back(
    problem: &Problem,
    crew_ix: CrewIx,
    plan: &CrewPlan,
    back_at: Seconds,
    found: &mut Vec<Violation>,
) {
    let crew = problem.crew(crew_ix);
    if plan.back_at != back_at {
        found.push(Violation::Back {
            crew: crew_ix,
            stated: plan.back_at,
            expected: back_at,
        });
    }
    let limit = (crew.shift_end + crew.overtime_max).max(home_at(problem, crew));
    if back_at > limit {
        found.push(Violation::Back {
            crew: crew_ix,
            stated: back_at,
            expected: limit,
        });
    }
}

/// When a crew that is out would be back if it did nothing more.
pub(super) fn home_at(problem: &Problem, crew: &Crew) -> Seconds {
    let (place, at, gone, out) = beginning(crew);
    if !out {
        return Seconds::MIN;
    }
    let mut departure = at;
    for rest in &crew.breaks[gone..] {
        if rest.earliest <= departure {
            departure += rest.seconds;
        }
    }
    departure + drive(problem, place, crew.end, departure)
}

/// Each break lies in its limits, not in a drive, is taken at the first chance, and is missing only if none came.
fn check_breaks(
    crew_ix: CrewIx,
    crew: &Crew,
    plan: &CrewPlan,
    drives: &[(Seconds, Seconds)],
    found: &mut Vec<Violation>,
) {
    let (_, begin, gone, _) = beginning(crew);
    let wanted = &crew.breaks[gone.min(crew.breaks.len())..];
    for (n, rest) in wanted.iter().enumerate() {
        let which = gone + n;
        match plan.breaks.get(n) {
            Some(taken) => {
                let drives_into = drives
                    .iter()
                    .any(|drive| drive.0 < taken.finish && taken.start < drive.1);
                // The first instant at which the crew was not driving.
                let earliest = rest.earliest.max(begin);
                let ready = drives
                    .iter()
                    .find(|drive| drive.0 < earliest && earliest < drive.1);
                let first = ready.map_or(earliest, |drive| drive.1);
                let fits = taken.start == first && taken.start <= rest.latest;
                if drives_into || !fits || taken.finish - taken.start != rest.seconds {
                    found.push(Violation::Break {
                        crew: crew_ix,
                        which,
                    });
                }
            }
            None => {
                // None is needed if the last drive, the one home, had begun before it was due.
                if drives.last().is_some_and(|last| last.0 >= rest.earliest) {
                    found.push(Violation::Break {
                        crew: crew_ix,
                        which,
                    });
                }
            }
        }
    }
    if plan.breaks.len() > wanted.len() {
        found.push(Violation::Break {
            crew: crew_ix,
            which: crew.breaks.len(),
        });
    }
}
