//! Which jobs wait for another day where that is the way out.
//!
//! Those that cannot be done as planned: for a tool, for a crew that may not do them any more, or for their hours. Where a crew
//! takes longer than planned, so that it would be late, the least weighty of its jobs that make the time good. And where
//! nothing of that is so, those that the plan before does not have: then the day stays as it is.

use crate::Seconds;
use crate::index::{CrewIx, JobIx};
use crate::plan::{CrewPlan, Plan, Stop, Visit};
use crate::problem::{Bound, Crew, Problem, Progress};
use crate::rules::skill;

/// The jobs to leave. `hit` are those that lost their tool.
pub(super) fn jobs(problem: &Problem, before: &Plan, hit: &[JobIx]) -> Vec<JobIx> {
    let mut left = hit.to_vec();
    let crews = || before.crews.iter().enumerate().take(problem.crews().len());
    for (ix, day) in crews() {
        let this = CrewIx::from_ix(ix);
        let as_planned = |(stop, job): &(&Stop, JobIx)| may_go_on(problem, this, stop, *job);
        let barred = open(problem, day).filter(|one| !as_planned(one));
        left.extend(barred.map(|(_, job)| job));
    }
    for (ix, day) in crews() {
        left.extend(too_much(problem, CrewIx::from_ix(ix), day, &left));
    }
    if left.is_empty() {
        let all = (0..problem.jobs().len()).map(JobIx::from_ix);
        left.extend(all.filter(|job| !problem.is_frozen(*job) && before.find(*job).is_none()));
    }
    left.sort_unstable();
    left.dedup();
    left
}

/// The stops of a crew's day that are still to be made, in order, each with its job.
fn open<'p>(problem: &'p Problem, day: &'p CrewPlan) -> impl Iterator<Item = (&'p Stop, JobIx)> {
    let jobs = day
        .stops
        .iter()
        .filter_map(|stop| Some((stop, stop.job()?)));
    jobs.filter(|(_, job)| job.ix() < problem.jobs().len() && !problem.is_frozen(*job))
}

/// Whether the crew may still do the job, and begin it when it was to.
fn may_go_on(problem: &Problem, this: CrewIx, stop: &Stop, job: JobIx) -> bool {
    let (crew, job) = (problem.crew(this), problem.job(job));
    let listed = job.crews.as_ref().is_none_or(|crews| crews.contains(&this));
    let until = match job.bound {
        Bound::Start => stop.start,
        Bound::Whole => stop.finish,
    };
    let mut windows = job.windows.iter();
    listed
        && crew.size >= job.crew_size_min
        && skill::missing(crew, job).is_none()
        && windows.any(|window| window.covers(stop.start, until))
}

/// The least weighty jobs that make good for what a crew would be late, where what it does takes longer or begins later than
/// planned; none where it can take that. `left` are jobs that it is not to do anyway.
fn too_much(problem: &Problem, this: CrewIx, day: &CrewPlan, left: &[JobIx]) -> Vec<JobIx> {
    let crew = problem.crew(this);
    let stops: Vec<(&Stop, JobIx)> = open(problem, day).collect();
    let Some(&(first, job)) = stops.first() else {
        return Vec::new();
    };
    let mut delay = begins_late(problem, crew, first, job);
    // By how much too late, and the last stop where that is so: what comes after it helps nobody.
    let (mut late, mut until) = (0, 0);
    for (position, (stop, job)) in stops.iter().enumerate() {
        let planned = planned_seconds(stop);
        delay += if left.contains(job) {
            -planned
        } else {
            least_seconds(problem, crew, *job) - planned
        };
        let short = delay - stop.slack_seconds;
        if short > problem.weights().moved_tolerance {
            late = late.max(short);
            until = position + 1;
        }
    }
    if late <= 0 {
        return Vec::new();
    }
    let helps = |(_, job): &&(&Stop, JobIx)| !left.contains(job);
    let mut candidates: Vec<(i64, Seconds, JobIx)> = stops
        .iter()
        .take(until)
        .filter(helps)
        .map(|(_, job)| {
            let penalty = problem.job(*job).penalty;
            (penalty, least_seconds(problem, crew, *job), *job)
        })
        .collect();
    candidates.sort_unstable();
    // One job that is long enough, before several that are together.
    let long_enough = candidates.iter().find(|(_, seconds, _)| *seconds >= late);
    if let Some((_, _, job)) = long_enough {
        return vec![*job];
    }
    let mut chosen = Vec::new();
    for (_, seconds, job) in candidates {
        if late <= 0 {
            break;
        }
        late -= seconds;
        chosen.push(job);
    }
    chosen
}

/// By how much later than planned the crew can be at its next stop. One that is not at work may be on its way there.
fn begins_late(problem: &Problem, crew: &Crew, next: &Stop, job: JobIx) -> Seconds {
    let travel = problem.travel();
    let drive = |from, at| travel.drive_seconds(from, problem.job(job).place, at);
    let there = match &crew.progress {
        Progress::NotStarted => crew.shift_start + drive(crew.start, crew.shift_start),
        Progress::UnderWay(way) => {
            let mut stops = way.frozen.iter();
            if stops.any(|stop| stop.finish >= way.ready_at) {
                way.ready_at + drive(way.place, way.ready_at)
            } else {
                way.ready_at
            }
        }
    };
    (there - next.start).max(0)
}

/// What the plan before takes the work of a stop to last.
fn planned_seconds(stop: &Stop) -> Seconds {
    match &stop.visit {
        Visit::Job { tasks, .. } => tasks.iter().map(|task| task.seconds).sum(),
        Visit::Yard { .. } | Visit::Meet { .. } => 0,
    }
}

/// What the work of a job takes the crew at least, with the quickest tools that there are.
fn least_seconds(problem: &Problem, crew: &Crew, job: JobIx) -> Seconds {
    (0..problem.job(job).tasks.len())
        .filter_map(|task| problem.tool_choices(job, task, crew.size).first())
        .map(|quickest| crew.paced(quickest.seconds))
        .sum()
}
