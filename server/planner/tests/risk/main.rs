//! The simulation of finished plans.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

#[path = "../support/mod.rs"]
mod support;
mod together;
mod written;

use std::sync::atomic::{AtomicU64, Ordering};

use forenoon_planner::problem::ServiceQuery;
use forenoon_planner::risk::{planned_for, simulate};
use forenoon_planner::value::{TrialSettings, WhatIf, what_if};
use forenoon_planner::{
    Cancel, CrewIx, Heat, Iterations, JobIx, Problem, Settings, Spent, UnitIx, solve,
};
use support::branch_day::{self, Size};
use support::random_problem::{Kinds, problem};

fn settings<'s>(iterations: &'s Iterations, cancel: &'s Cancel) -> Settings<'s> {
    Settings {
        seed: 2,
        budget: iterations,
        cancel,
        warm_start: None,
        heat: Heat::Full,
    }
}

/// The same seed gives the same figures; a plan for longer tasks keeps more promises and has less overtime.
#[test]
fn a_safer_plan_is_safer() {
    let problem = branch_day::problem(5, Size::BRANCH);
    let cancel = Cancel::new();
    let tight = solve(
        &problem,
        &settings(&Iterations(1_500), &cancel),
        &mut |_| {},
    )
    .plan;
    let safer = planned_for(&problem, 1.28);
    let loose = solve(&safer, &settings(&Iterations(1_500), &cancel), &mut |_| {}).plan;
    let risk = simulate(&problem, &tight, 9, 300);
    assert_eq!(risk, simulate(&problem, &tight, 9, 300));
    assert!(
        risk.crews
            .iter()
            .all(|crew| (0.0..=1.0).contains(&crew.overtime))
    );
    // The safer plan's own task plans hold longer medians; simulate them with the true ones.
    let calm = simulate(&problem, &retimed(&problem, &loose), 9, 300);
    let over = |risk: &forenoon_planner::risk::Risk| {
        risk.crews.iter().map(|crew| crew.over_limit).sum::<f64>()
    };
    assert!(
        over(&calm) < over(&risk),
        "{} against {}",
        over(&calm),
        over(&risk)
    );
}

/// The plan with each task at the problem's own median.
fn retimed(problem: &Problem, plan: &forenoon_planner::Plan) -> forenoon_planner::Plan {
    let mut plan = plan.clone();
    for (crew, day) in plan.crews.iter_mut().enumerate() {
        let size = problem.crews()[crew].size;
        for stop in &mut day.stops {
            let forenoon_planner::plan::Visit::Job { job, tasks } = &mut stop.visit else {
                continue;
            };
            for (ix, task) in tasks.iter_mut().enumerate() {
                let classes: Vec<_> = task
                    .unit
                    .into_iter()
                    .chain(task.powerhead)
                    .map(|unit| problem.unit(unit).class)
                    .collect();
                let choices = problem.tool_choices(*job, ix, size);
                let same = choices.iter().find(|choice| {
                    choice.method == task.method
                        && choice.tool.classes().eq(classes.iter().copied())
                });
                if let Some(choice) = same {
                    task.seconds = i64::from(choice.seconds);
                }
            }
        }
    }
    plan
}

/// One crew with one job and nothing that could come in between.
const ONE_JOB: Kinds = Kinds {
    jobs_max: 1,
    crews_max: 1,
    under_way: false,
    breaks: false,
    pace: false,
    ..Kinds::ALL
};

/// Without spread the simulation is the plan: nobody is later than planned. Outside check: the share of a single
/// log-normal task beyond its median is one half.
#[test]
fn half_the_runs_of_a_single_task_end_after_its_median() {
    let mut seen = 0;
    for seed in 0..400 {
        let problem = problem(seed, ONE_JOB);
        let cancel = Cancel::new();
        let plan = solve(&problem, &settings(&Iterations(20), &cancel), &mut |_| {}).plan;
        let Some((_, at)) = plan.find(JobIx(0)) else {
            continue;
        };
        let stop = &plan.crews[0].stops[at];
        if problem.jobs()[0].tasks.len() != 1 || plan.crews[0].stops.len() != 1 {
            continue;
        }
        seen += 1;
        // End of shift exactly at the median's return: overtime in half of the runs.
        let shorter = plan.crews[0].back_at;
        let risk = simulate(&problem_ending_at(seed, shorter), &plan, seed, 2_000);
        let share = risk.crews[0].overtime;
        assert!(
            (0.44..0.56).contains(&share),
            "seed {seed}: {share}, {stop:?}"
        );
    }
    assert!(seen > 20, "{seen}");
}

fn problem_ending_at(seed: u64, end: i64) -> Problem {
    let mut parts = support::random_problem::parts(seed, ONE_JOB);
    parts.crews[0].shift_end = end;
    match Problem::new(parts, &mut support::random_problem::service) {
        Ok(problem) => problem,
        Err(faults) => unreachable!("{faults}"),
    }
}

/// More of anything never makes the plan dearer, and what it saves comes from a real plan.
#[test]
fn more_units_and_longer_shifts_never_cost() {
    for seed in 0..60 {
        let problem = problem(seed, Kinds::ALL);
        let cancel = Cancel::new();
        let settings = settings(&Iterations(40), &cancel);
        let plan = solve(&problem, &settings, &mut |_| {}).plan;
        let trial = TrialSettings {
            seed: settings.seed,
            budgets: [settings.budget; 2],
            cancel: &cancel,
        };
        for change in [
            WhatIf::OneMoreUnit(UnitIx(0)),
            WhatIf::LongerShift {
                crew: CrewIx(0),
                seconds: 3_600,
            },
            WhatIf::WithoutJob(JobIx(0)),
        ] {
            let value = what_if(&problem, &plan, change, &trial);
            assert!(value.saving().0 >= 0, "seed {seed} {change:?}: {value:?}");
        }
    }
}

/// Each of the two searches keeps to its own budget.
#[test]
fn what_a_change_brings_is_searched_with_two_budgets() {
    let asked = [AtomicU64::new(0), AtomicU64::new(0)];
    let upto = |which: usize, most: u64| {
        let asked = &asked[which];
        Spent(move |iterations| {
            asked.fetch_max(iterations, Ordering::Relaxed);
            iterations as f64 / most as f64
        })
    };
    let (without, with) = (upto(0, 30), upto(1, 50));
    let problem = problem(7, Kinds::ALL);
    let cancel = Cancel::new();
    let settings = settings(&Iterations(40), &cancel);
    let plan = solve(&problem, &settings, &mut |_| {}).plan;
    let change = WhatIf::OneMoreUnit(UnitIx(0));
    let trial = TrialSettings {
        seed: settings.seed,
        budgets: [&without, &with],
        cancel: &cancel,
    };
    what_if(&problem, &plan, change, &trial);
    assert_eq!(asked.map(AtomicU64::into_inner), [30, 50]);
}

/// A branch day in which only the tasks of `uncertain` spread.
fn day_with_spread(seed: u64, uncertain: Option<JobIx>) -> Problem {
    let (parts, mut service) = branch_day::parts(seed, Size::BRANCH);
    let mut spread = |query: ServiceQuery| {
        let mut time = service(query)?;
        time.log_deviation_permille = if Some(query.job) == uncertain { 600 } else { 0 };
        Some(time)
    };
    match Problem::new(parts, &mut spread) {
        Ok(problem) => problem,
        Err(faults) => unreachable!("{faults}"),
    }
}

/// Without spread the simulation is the plan: every promise and every minute of overtime comes out as planned.
#[test]
fn without_spread_the_simulation_is_the_plan() {
    let cancel = Cancel::new();
    let (mut promises, mut overtime) = (0, 0);
    for seed in 0..4 {
        let problem = day_with_spread(seed, None);
        let plan = solve(&problem, &settings(&Iterations(300), &cancel), &mut |_| {}).plan;
        let risk = simulate(&problem, &plan, 4, 20);
        let expected: Vec<JobIx> = (0..problem.jobs().len())
            .map(JobIx::from_ix)
            .filter(|job| problem.job(*job).promise.is_some() && plan.find(*job).is_some())
            .collect();
        let mut told: Vec<JobIx> = risk.promises.iter().map(|promise| promise.job).collect();
        told.sort_unstable();
        assert_eq!(told, expected, "seed {seed}");
        for told in &risk.promises {
            let (crew, at) = plan.find(told.job).expect("a planned job");
            let stop = &plan.crews[crew.ix()].stops[at];
            let promise = problem.job(told.job).promise.expect("a promise");
            let kept = f64::from(promise.kept(stop.start, stop.finish));
            assert!((told.kept - kept).abs() < 1e-9, "seed {seed}: {told:?}");
            promises += 1;
        }
        for (crew, day) in risk.crews.iter().zip(&plan.crews) {
            let planned = day.totals.overtime_seconds;
            assert!((crew.overtime_seconds_mean - planned as f64).abs() < 1e-6);
            assert_eq!(crew.overtime_seconds_p90, planned);
            overtime += usize::from(planned > 0);
        }
    }
    assert!(promises > 10 && overtime > 4, "{promises} {overtime}");
}

/// With the same chances in every comparison, a stop without spread endangers nothing: the only uncertain one is named.
#[test]
fn the_only_uncertain_stop_is_the_one_that_endangers_the_day() {
    let cancel = Cancel::new();
    let mut named = 0;
    for seed in 0..4 {
        let certain = day_with_spread(seed, None);
        let plan = solve(&certain, &settings(&Iterations(300), &cancel), &mut |_| {}).plan;
        for crew in plan.crews.iter().filter(|crew| !crew.stops.is_empty()) {
            let Some(job) = crew.stops[0].job() else {
                continue;
            };
            let risk = simulate(&day_with_spread(seed, Some(job)), &plan, 4, 50);
            if let Some(worst) = risk.most_endangering {
                assert_eq!(worst.job, job, "seed {seed}: {worst:?}");
                assert!(worst.seconds > 0.0);
                named += 1;
            }
        }
    }
    assert!(named > 4, "{named}");
}
