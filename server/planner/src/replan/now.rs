//! The problem as of an instant.

use crate::Seconds;
use crate::index::{CrewIx, UnitIx};
use crate::plan::{CrewPlan, Plan, Visit};
use crate::problem::{Crew, FrozenStop, Previous, Problem, Progress, UnderWay};

/// The problem as it stands at `now` if the day went as planned: stops begun by then are frozen, crews that have left
/// are under way, those that are back have put everything down, open jobs remember crew and start.
///
/// A crew that is driving is taken to be at the stop it came from, free at once: it can still turn round. Where actual
/// times and places are known, the caller sets [`Crew::progress`](crate::problem::Crew::progress) itself.
#[must_use]
pub fn as_of(problem: &Problem, plan: &Plan, now: Seconds) -> Problem {
    problem.advanced(|parts| {
        for (ix, day) in plan.crews.iter().enumerate().take(parts.crews.len()) {
            let this = CrewIx::from_ix(ix);
            for stop in day
                .stops
                .iter()
                .filter(|stop| !stop.frozen && stop.start > now)
            {
                if let Some(job) = stop.job().and_then(|job| parts.jobs.get_mut(job.ix())) {
                    job.previous = Some(Previous {
                        crew: this,
                        start: stop.start,
                        finish: stop.finish,
                    });
                }
            }
            let crew = &mut parts.crews[ix];
            let out = matches!(crew.progress, Progress::UnderWay(_));
            if out || (crew.shift_start <= now && !day.stops.is_empty()) {
                crew.progress = Progress::UnderWay(under_way(day, crew, now));
            } else if crew.shift_start <= now {
                // It stands at the yard and can still load whatever is there, as long as its shift lasts.
                crew.overtime_max = (crew.overtime_max - (now - crew.shift_end).max(0)).max(0);
                crew.shift_start = now;
                crew.shift_end = crew.shift_end.max(now);
            }
        }
    })
}

fn under_way(day: &CrewPlan, crew: &Crew, now: Seconds) -> UnderWay {
    let mut way = match &crew.progress {
        Progress::UnderWay(way) => way.clone(),
        Progress::NotStarted => UnderWay {
            place: crew.start,
            ready_at: crew.shift_start,
            aboard: day.load_out.clone(),
            frozen: Vec::new(),
            breaks_taken: 0,
        },
    };
    // The plan has none that was missed when it was made.
    way.breaks_taken = way.breaks_taken.max(crew.breaks_missed(way.ready_at));
    for stop in day
        .stops
        .iter()
        .filter(|stop| !stop.frozen && stop.start <= now)
    {
        way.place = stop.place;
        way.ready_at = stop.finish;
        match &stop.visit {
            Visit::Job { job, tasks } => {
                let mut units: Vec<UnitIx> = tasks
                    .iter()
                    .flat_map(|task| task.unit.into_iter().chain(task.powerhead))
                    .collect();
                units.sort_unstable();
                units.dedup();
                way.frozen.push(FrozenStop {
                    job: *job,
                    arrival: stop.arrival,
                    start: stop.start,
                    finish: stop.finish,
                    units,
                });
            }
            Visit::Yard { unload, load } => {
                way.aboard.retain(|unit| !unload.contains(unit));
                way.aboard.extend(load);
            }
            Visit::Meet { give, take, .. } => {
                way.aboard.retain(|unit| !give.contains(unit));
                way.aboard.extend(take);
            }
        }
    }
    way.ready_at = way.ready_at.max(now);
    if day.back_at <= now {
        // It is back, and others may have taken since what it brought.
        way.place = crew.end;
        way.aboard.clear();
    }
    // A break under way is finished first.
    for rest in &day.breaks {
        if rest.start < way.ready_at {
            way.breaks_taken += 1;
            way.ready_at = way.ready_at.max(rest.finish);
        }
    }
    way
}

/// The problem with a unit out of service from `now` on. If a crew has it, it stays on the vehicle and takes its room,
/// but is in no load-out any more.
#[must_use]
pub fn unit_out(problem: &Problem, unit: UnitIx, now: Seconds) -> Problem {
    problem.advanced(|parts| {
        let Some(out) = parts.units.get_mut(unit.ix()) else {
            return;
        };
        out.available.retain(|window| window.open < now);
        for window in &mut out.available {
            window.close = window.close.min(now - 1);
        }
        let space = parts.classes[out.class.ix()].space;
        for crew in &mut parts.crews {
            if let Progress::UnderWay(way) = &mut crew.progress
                && way.aboard.contains(&unit)
            {
                way.aboard.retain(|aboard| *aboard != unit);
                crew.load_space = crew.load_space.saturating_sub(space);
            }
        }
    })
}
