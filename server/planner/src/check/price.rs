//! The cost of a plan, reckoned from its stops.

use super::day::{beginning, choice_of, meeting, yard_of};
use super::handover;
use crate::cost::{Breakdown, Cost};
use crate::index::CrewIx;
use crate::plan::{CrewPlan, Plan, Stop, Visit};
use crate::problem::{Meeting, Problem, ToolChoice};

/// A rate per hour is a 3,600th per second, and a cost unit the 3,600,000th of a minor unit: seconds times permille it is.
fn hourly(rate: i64, seconds: i64, permille: i64) -> Cost {
    Cost(rate * seconds * permille)
}

fn sum(minor_units: i64) -> Cost {
    Cost(minor_units * 3_600_000)
}

pub(super) fn price(problem: &Problem, plan: &Plan) -> Breakdown {
    let weights = problem.weights();
    let mut cost = Breakdown::default();
    for job in &plan.unplanned {
        cost.unplanned += Cost(problem.job(*job).penalty * weights.unplanned_permille * 3_600);
    }
    for (ix, crew) in plan.crews.iter().enumerate() {
        price_crew(problem, CrewIx::from_ix(ix), crew, &mut cost);
    }
    cost
}

fn price_crew(problem: &Problem, crew_ix: CrewIx, plan: &CrewPlan, cost: &mut Breakdown) {
    let weights = problem.weights();
    let crew = problem.crew(crew_ix);
    let (start, begin, _, out) = beginning(crew);
    let mut at = (start, begin);
    let (mut drive, mut metres, mut work, mut wait, mut exposure) = (0, 0, 0, 0, 0);
    let mut loaded = if out { 0 } else { plan.load_out.len() };
    let mut last_finish = begin;
    for stop in plan.stops.iter().filter(|stop| !stop.frozen) {
        drive += stop.drive_seconds;
        metres += problem.travel().metres(at.0, stop.place);
        wait += stop.wait_seconds;
        match &stop.visit {
            Visit::Job { job, tasks } => {
                work += i64::from(problem.job(*job).fixed_seconds);
                for (task, task_plan) in tasks.iter().enumerate() {
                    work += task_plan.seconds + task_plan.wait_seconds;
                    let choice = choice_of(problem, *job, task, crew.size, task_plan);
                    let paced = |figure: fn(&ToolChoice) -> u32| {
                        let figure = choice.map_or(0, |choice| i64::from(figure(choice)));
                        (figure * i64::from(crew.pace_permille) + 500).div_euclid(1_000)
                    };
                    let bound = paced(|choice| choice.bound_seconds);
                    for unit in task_plan.unit.into_iter().chain(task_plan.powerhead) {
                        let rate = problem.class_of(unit).wear_per_hour;
                        cost.wear += hourly(rate, bound, weights.wear_permille);
                    }
                    exposure += paced(|choice| choice.exposure);
                }
                price_job(problem, crew_ix, stop, cost);
            }
            Visit::Yard { load, .. } => {
                loaded += load.len();
                work += yard_of(crew, stop).map_or(0, |call| call.seconds);
            }
            Visit::Meet { take, .. } => {
                loaded += take.len();
                work += handover::seconds(problem, crew, stop).unwrap_or(0);
            }
        }
        at = (stop.place, stop.finish);
        last_finish = stop.finish;
    }
    if at.1 != begin || out || plan.stops.iter().any(|stop| !stop.frozen) {
        let rests: i64 = plan
            .breaks
            .iter()
            .filter(|rest| rest.start >= last_finish)
            .map(|rest| rest.finish - rest.start)
            .sum();
        drive += plan.back_at - last_finish - rests;
        metres += problem.travel().metres(at.0, crew.end);
    }
    cost.driving += hourly(crew.wage_per_hour, drive, weights.driving_permille);
    cost.distance += Cost(weights.distance_per_km * metres * 3_600);
    cost.work += hourly(crew.wage_per_hour, work, weights.work_permille);
    cost.idle += hourly(crew.wage_per_hour, wait, weights.idle_permille);
    let late = (plan.back_at - crew.shift_end).max(0);
    cost.overtime += hourly(crew.overtime_per_hour, late, weights.overtime_permille);
    cost.load_out += sum(weights.load_unit * i64::try_from(loaded).unwrap_or(i64::MAX));
    if let Some(limit) = crew.exposure_limit {
        cost.exposure += sum(weights.exposure_point * (exposure - i64::from(limit)).max(0));
    }
    if let Some(fair) = crew.fair_load {
        cost.unfair += hourly(weights.unfair_per_hour, (drive + work - fair).max(0), 1_000);
    }
}

fn price_job(problem: &Problem, crew: CrewIx, stop: &Stop, cost: &mut Breakdown) {
    let weights = problem.weights();
    let Some(job) = stop.job().map(|job| problem.job(job)) else {
        return;
    };
    if let Some(due) = job.due {
        cost.late += hourly(
            due.cost_per_hour,
            (stop.finish - due.at).max(0),
            weights.late_permille,
        );
    }
    let broken = job
        .promise
        .filter(|promise| promise.close < meeting(promise, stop));
    if let Some(promise) = broken {
        cost.promises += sum(weights.promise_broken);
        cost.promises += hourly(
            weights.promise_late_per_hour,
            meeting(&promise, stop) - promise.close,
            1_000,
        );
    }
    if let Some(before) = job.previous {
        if before.crew != crew {
            cost.disturbance += sum(weights.changed_crew);
        }
        if before.start.abs_diff(stop.start) > weights.moved_tolerance.unsigned_abs() {
            cost.disturbance += sum(weights.moved_job);
        }
        if broken.is_some_and(|promise| match promise.at {
            Meeting::Start => before.start <= promise.close,
            Meeting::Finish => before.finish <= promise.close,
        }) {
            cost.disturbance += sum(weights.changed_promise);
        }
    }
}
