//! The slack of each stop, found again by moving its start and driving on through the day by rules written anew.

mod support;

use forenoon_planner::index::*;
use forenoon_planner::plan::{CrewPlan, Stop, TaskPlan, Visit};
use forenoon_planner::problem::{Bound, Job, Meeting};
use forenoon_planner::{Problem, Seconds, check};
use support::planned;
use support::random_problem::{Kinds, problem};

/// The search looks no further.
const MOST: Seconds = 24 * 3_600;

fn noisy(problem: &Problem, tasks: &[TaskPlan]) -> bool {
    let units = tasks.iter().flat_map(|task| [task.unit, task.powerhead]);
    units.flatten().any(|unit| problem.class_of(unit).noisy)
}

/// The first start from an instant on.
fn start_of(job: &Job, from: Seconds, work: Seconds, noisy: bool) -> Option<Seconds> {
    let mut from = match job.promise {
        Some(promise) if promise.at == Meeting::Start => from.max(promise.open),
        Some(promise) => from.max(promise.open - work),
        None => from,
    };
    loop {
        let starts = job.windows.iter().filter_map(|window| {
            let start = from.max(window.open);
            let last = match job.bound {
                Bound::Start => start,
                Bound::Whole => start + work,
            };
            (last <= window.close).then_some(start)
        });
        let start = starts.min()?;
        let disturbed = job
            .quiet
            .iter()
            .find(|quiet| start < quiet.close && quiet.open < start + work);
        match disturbed {
            Some(quiet) if noisy => from = quiet.close,
            _ => return Some(start),
        }
    }
}

/// When the crew must be back: for its shift, and for what it has aboard.
fn back_by(problem: &Problem, crew: CrewIx, day: &CrewPlan) -> Seconds {
    let own = problem.crew(crew);
    let units = day.load_out.iter().filter_map(|unit| {
        let mut windows = problem.unit(*unit).available.iter();
        windows.find(|window| window.covers(own.shift_start, own.shift_start))
    });
    let due = units.map(|window| window.close).min();
    (own.shift_end + own.overtime_max).min(due.unwrap_or(Seconds::MAX))
}

/// Whether the day goes on no worse when the stop begins so much later.
fn bears(problem: &Problem, crew: CrewIx, day: &CrewPlan, at: usize, delay: Seconds) -> bool {
    let travel = problem.travel();
    let (mut place, mut free_at) = (PlaceIx(0), 0);
    for (ix, stop) in day.stops.iter().enumerate().skip(at) {
        let Visit::Job { job, tasks } = &stop.visit else {
            unreachable!("no calls here")
        };
        let (job, work) = (problem.job(*job), stop.finish - stop.start);
        let from = if ix == at {
            stop.start + delay
        } else {
            free_at + travel.drive_seconds(place, stop.place, free_at)
        };
        let Some(start) = start_of(job, from, work, noisy(problem, tasks)) else {
            return false;
        };
        if ix == at && start != from {
            return false;
        }
        let finish = start + work;
        if let Some(promise) = job.promise {
            let (was, is) = match promise.at {
                Meeting::Start => (stop.start, start),
                Meeting::Finish => (stop.finish, finish),
            };
            let latest = if promise.hard {
                promise.close
            } else {
                promise.close.max(was)
            };
            if is > latest {
                return false;
            }
        }
        if job.due.is_some_and(|due| finish > due.at.max(stop.finish)) {
            return false;
        }
        (place, free_at) = (stop.place, finish);
    }
    let own = problem.crew(crew);
    let back_at = free_at + travel.drive_seconds(place, own.end, free_at);
    back_at <= back_by(problem, crew, day) && back_at <= own.shift_end.max(day.back_at)
}

/// A stop can begin so much later as is told, and not a second more.
#[test]
fn slack_is_what_a_day_bears() {
    let kinds = Kinds {
        breaks: false,
        yard_calls: false,
        under_way: false,
        ..Kinds::ALL
    };
    let (mut some, mut none) = (0, 0);
    for seed in 0..1_000 {
        let problem = problem(seed, kinds);
        let plan = planned(&problem, seed, 60, None);
        assert!(check(&problem, &plan).is_ok());
        for (ix, day) in plan.crews.iter().enumerate() {
            let crew = CrewIx::from_ix(ix);
            for (at, Stop { slack_seconds, .. }) in day.stops.iter().enumerate() {
                let slack = *slack_seconds;
                assert!(
                    bears(&problem, crew, day, at, slack),
                    "seed {seed} crew {ix} stop {at}: {slack} is too much"
                );
                assert!(
                    slack == MOST || !bears(&problem, crew, day, at, slack + 1),
                    "seed {seed} crew {ix} stop {at}: {slack} is not all"
                );
                if slack > 0 {
                    some += 1;
                } else {
                    none += 1;
                }
            }
        }
    }
    assert!(some > 1_000 && none > 50, "{some} {none}");
}
