//! Whatever a caller starts and cancels comes back with something that is true.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "tests")]

mod support;

use std::sync::atomic::{AtomicU64, Ordering};

use forenoon_planner::replan::{ProposalSettings, as_of, propose};
use forenoon_planner::risk::{simulate, simulate_until};
use forenoon_planner::value::{TrialSettings, WhatIf, what_if};
use forenoon_planner::{
    Cancel, Heat, Iterations, JobIx, Plan, Problem, Settings, Spent, check, explain, explain_until,
    solve,
};
use support::branch_day::{self, Size};
use support::random_problem::{Kinds, problem};

fn raised() -> Cancel {
    let cancel = Cancel::new();
    cancel.raise();
    cancel
}

fn planned(problem: &Problem, cancel: &Cancel, warm_start: Option<&Plan>) -> Plan {
    let settings = Settings {
        seed: 1,
        budget: &Iterations(60),
        cancel,
        warm_start,
        heat: Heat::Full,
    };
    solve(problem, &settings, &mut |_| {}).plan
}

/// Cancelled before it began, a search answers with a plan in which nothing more is done, and that is within the rules.
#[test]
fn a_search_cancelled_before_it_begins_plans_nothing() {
    for seed in 0..500 {
        let problem = problem(seed, Kinds::ALL);
        let before = planned(&problem, &Cancel::new(), None);
        for warm_start in [None, Some(&before)] {
            let plan = planned(&problem, &raised(), warm_start);
            let checked = check(&problem, &plan);
            assert!(checked.is_ok(), "seed {seed}: {checked:?}");
            let done =
                |day: &forenoon_planner::plan::CrewPlan| day.stops.iter().all(|stop| stop.frozen);
            assert!(plan.crews.iter().all(done), "seed {seed}");
        }
    }
}

/// Cancelled in the middle, it answers with the best plan so far.
#[test]
fn a_search_cancelled_on_its_way_keeps_what_it_found() {
    let problem = branch_day::problem(1, Size::BRANCH);
    let first = planned(&problem, &Cancel::new(), None);
    let cancel = Cancel::new();
    let budget = Spent(|iterations| {
        if iterations == 400 {
            cancel.raise();
        }
        iterations as f64 / 1e6
    });
    let settings = Settings {
        seed: 1,
        budget: &budget,
        cancel: &cancel,
        warm_start: Some(&first),
        heat: Heat::Full,
    };
    let solved = solve(&problem, &settings, &mut |_| {});
    assert!(solved.cancelled && solved.iterations <= 401);
    assert!(check(&problem, &solved.plan).is_ok());
    assert!(solved.plan.cost.total() <= first.cost.total());
}

/// What is explained before the cancel is the same as without it.
#[test]
fn explanations_until_the_cancel_are_whole() {
    let problem = branch_day::problem(2, Size::BRANCH);
    let plan = planned(&problem, &Cancel::new(), None);
    let all = explain(&problem, &plan);
    assert_eq!(all.len(), plan.unplanned.len());
    assert!(all.len() > 2);
    assert!(explain_until(&problem, &plan, &raised()).is_empty());
    let cancel = Cancel::new();
    let some = std::thread::scope(|scope| {
        scope.spawn(|| {
            std::thread::sleep(std::time::Duration::from_millis(5));
            cancel.raise();
        });
        explain_until(&problem, &plan, &cancel)
    });
    assert_eq!(some, all[..some.len()]);
}

#[test]
fn a_simulation_is_whole_or_none() {
    let problem = branch_day::problem(1, Size::BRANCH);
    let plan = planned(&problem, &Cancel::new(), None);
    let whole = simulate(&problem, &plan, 3, 50);
    assert_eq!(
        simulate_until(&problem, &plan, 3, 50, &Cancel::new()),
        Some(whole)
    );
    assert_eq!(simulate_until(&problem, &plan, 3, 50, &raised()), None);
}

/// No proposal is made up by a search that did not begin, and a change not tried is not told to save anything.
#[test]
fn a_replan_cancelled_before_it_begins_proposes_nothing() {
    let problem = branch_day::problem(1, Size::BRANCH);
    let plan = planned(&problem, &Cancel::new(), None);
    let now = as_of(&problem, &plan, 10 * 3_600);
    let asked = AtomicU64::new(0);
    let budget = Spent(|_| {
        asked.fetch_add(1, Ordering::Relaxed);
        0.5
    });
    let settings = ProposalSettings {
        seed: 1,
        budget_each: &budget,
        cancel: &raised(),
    };
    assert!(propose(&now, &plan, &settings).is_empty());
    assert_eq!(asked.load(Ordering::Relaxed), 0);
    let settings = TrialSettings {
        seed: 1,
        budgets: [&budget; 2],
        cancel: &raised(),
    };
    let value = what_if(&problem, &plan, WhatIf::WithoutJob(JobIx(0)), &settings);
    assert_eq!(value.saving().0, 0);
}
