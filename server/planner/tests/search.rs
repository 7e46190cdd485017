//! Every plan of the search passes the independent checker, and a seed gives the same plan again.

mod support;

use forenoon_planner::plan::{Stop, Visit};
use forenoon_planner::{Cancel, Cost, Heat, Iterations, Problem, Settings, check, solve_on};
use support::branch_day::{self, Size};
use support::planned as plan;
use support::random_problem::{Kinds, problem};
use support::wanted_plans::pass_the_checker;

/// Guards all rules at once: the debug build compares each applied move with a full evaluation, and the checker goes
/// over the result. Thousands of problems, each with another mix of constraints.
#[test]
fn plans_of_random_problems_pass_the_checker() {
    for seed in 0..5_000 {
        let problem = problem(seed, Kinds::ALL);
        let plan = plan(&problem, seed, 60, None);
        let checked = check(&problem, &plan);
        assert!(checked.is_ok(), "seed {seed}: {checked:?}");
    }
}

/// The same with several calls a day at any yard, and plans that really have them.
#[test]
fn plans_with_several_calls_pass_the_checker() {
    let kinds = Kinds {
        many_calls: true,
        ..Kinds::ALL
    };
    let several = pass_the_checker(kinds, |_, plan| {
        let calls = plan.crews.iter().map(|day| {
            let call = |stop: &&Stop| matches!(stop.visit, Visit::Yard { .. });
            day.stops.iter().filter(call).count()
        });
        calls.max() > Some(1)
    });
    assert!(several >= 20, "{several} plans with a second call");
}

/// The same problem, seed and iterations give the same plan; another seed may not.
#[test]
fn a_seed_reproduces_the_plan() {
    for seed in 0..40 {
        let problem = problem(seed, Kinds::ALL);
        assert_eq!(
            plan(&problem, 7, 200, None),
            plan(&problem, 7, 200, None),
            "seed {seed}"
        );
    }
}

/// A plan used as a warm start is not lost: the result is never worse.
#[test]
fn a_warm_start_never_gets_worse() {
    for seed in 0..1_000 {
        let problem = problem(seed, Kinds::ALL);
        let first = plan(&problem, 1, 150, None);
        let second = plan(&problem, 2, 0, Some(&first));
        assert!(
            second.cost.total() <= first.cost.total(),
            "seed {seed}: {:?} then {:?}",
            first.cost,
            second.cost
        );
        assert!(check(&problem, &second).is_ok());
    }
}

/// A few crews on several threads: the cheapest of as many searches, the same again, and no dearer than the first alone.
#[test]
fn a_small_day_is_searched_by_each_thread() {
    let mut better = 0;
    for seed in 0..12 {
        let problem = branch_day::problem(seed, Size::BRANCH);
        let run = |threads| {
            let settings = Settings {
                seed,
                budget: &Iterations(300),
                cancel: &Cancel::new(),
                warm_start: None,
                heat: Heat::Full,
            };
            let solved = solve_on(&problem, &settings, threads, &mut |_| {});
            assert_eq!(solved.iterations, 300);
            let checked = check(&problem, &solved.plan);
            assert!(
                checked.is_ok(),
                "seed {seed}, {threads} threads: {checked:?}"
            );
            solved.plan
        };
        let (one, three) = (run(1), run(3));
        assert_eq!(three, run(3), "seed {seed}");
        // The end of a search may still turn two near ones round.
        better += usize::from(three.cost.total() < one.cost.total());
    }
    assert!(better >= 6, "better on {better} of 12 days");
}

/// More crews than are searched at once: groups of them, on one thread or several, make one plan within its rules that
/// only gets better, and the same again.
#[test]
fn many_crews_are_searched_in_groups() {
    let size = Size {
        crews: 30,
        jobs: 180,
        units: 150,
        spread: 0.15,
    };
    for (seed, meetings) in [(0, false), (1, false), (2, false), (0, true), (1, true)] {
        let (mut parts, mut service) = branch_day::parts(seed, size);
        parts.plan_meetings = meetings;
        let problem = Problem::new(parts, &mut service).unwrap();
        for threads in [1, 2, 3] {
            let run = |iterations| {
                let settings = Settings {
                    seed,
                    budget: &Iterations(iterations),
                    cancel: &Cancel::new(),
                    warm_start: None,
                    heat: Heat::Full,
                };
                let mut last = Cost::MAX;
                let solved = solve_on(&problem, &settings, threads, &mut |progress| {
                    assert!(progress.best_cost <= last, "seed {seed}, {threads} threads");
                    last = progress.best_cost;
                });
                solved.plan
            };
            let first = run(0);
            let plan = run(900);
            let checked = check(&problem, &plan);
            assert!(
                checked.is_ok(),
                "seed {seed}, {threads} threads: {checked:?}"
            );
            assert!(plan.cost.total() < first.cost.total());
            assert_eq!(plan, run(900), "seed {seed}, {threads} threads");
        }
    }
}

/// More threads than there are groups of crews, and so many jobs left out that each would have some: those without a crew
/// leave them alone.
#[test]
fn a_thread_without_crews_does_nothing() {
    let size = Size {
        crews: 30,
        jobs: 600,
        units: 150,
        spread: 0.15,
    };
    let problem = branch_day::problem(0, size);
    for threads in [4, 8] {
        let settings = Settings {
            seed: 0,
            budget: &Iterations(400),
            cancel: &Cancel::new(),
            warm_start: None,
            heat: Heat::Full,
        };
        let plan = solve_on(&problem, &settings, threads, &mut |_| {}).plan;
        assert!(plan.unplanned.len() > 200, "{}", plan.unplanned.len());
        let checked = check(&problem, &plan);
        assert!(checked.is_ok(), "{threads} threads: {checked:?}");
    }
}
