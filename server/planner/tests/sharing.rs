//! Crews that wait for their tools, and crews with a pace of their own: search and checker, which share no code, agree.

mod support;

use forenoon_planner::problem::{ServiceQuery, ServiceTime};
use forenoon_planner::{Plan, Problem, check};
use support::planned;
use support::random_problem::{Kinds, parts, service};

/// A tool is bound as long as one person would take.
fn bound(query: ServiceQuery) -> Option<ServiceTime> {
    let alone = service(ServiceQuery {
        crew_size: 1,
        ..query
    })?;
    Some(ServiceTime {
        bound_seconds: alone.seconds,
        ..service(query)?
    })
}

fn solved(problem: &Problem, seed: u64) -> Plan {
    planned(problem, seed, 400, None)
}

fn waits(plan: &Plan) -> i64 {
    plan.crews
        .iter()
        .flat_map(|crew| &crew.stops)
        .filter_map(|stop| match &stop.visit {
            forenoon_planner::plan::Visit::Job { tasks, .. } => Some(tasks),
            _ => None,
        })
        .flatten()
        .map(|task| task.wait_seconds)
        .sum()
}

#[test]
fn search_and_checker_agree_on_waits_and_pace() {
    let mut waited = 0;
    for seed in 0..150 {
        let mut parts = parts(seed, Kinds::ALL);
        for (ix, crew) in parts.crews.iter_mut().enumerate() {
            crew.pace_permille = [870, 1_000, 1_240, 933][ix % 4];
        }
        let problem = Problem::new(parts, &mut bound).unwrap();
        let plan = solved(&problem, seed);
        let verdict = check(&problem, &plan);
        assert!(verdict.is_ok(), "seed {seed}: {verdict:?}");
        waited += i64::from(waits(&plan) > 0);
    }
    // Jobs of two or more tasks with one tool are not rare, so waits must be seen.
    assert!(waited > 20, "only {waited} of 150 plans have a wait");
}

#[test]
fn a_wait_that_is_left_out_is_found() {
    let mut found = 0;
    for seed in 0..60 {
        let problem = Problem::new(parts(seed, Kinds::ALL), &mut bound).unwrap();
        let mut plan = solved(&problem, seed);
        if waits(&plan) == 0 {
            continue;
        }
        found += 1;
        for stop in plan.crews.iter_mut().flat_map(|crew| &mut crew.stops) {
            if let forenoon_planner::plan::Visit::Job { tasks, .. } = &mut stop.visit {
                for task in tasks {
                    task.wait_seconds = 0;
                }
            }
        }
        assert!(check(&problem, &plan).is_err(), "seed {seed}");
    }
    assert!(found > 5);
}

#[test]
fn a_pace_out_of_bounds_is_refused() {
    for pace in [0, 399, 2_501] {
        let mut parts = parts(3, Kinds::ALL);
        parts.crews[0].pace_permille = pace;
        let faults = Problem::new(parts, &mut service).unwrap_err();
        assert!(faults.to_string().contains("pace_permille"), "{faults}");
    }
}

/// A job that is left for a crew's limit of exposure alone is said to be, and finds its place without the limit.
#[test]
fn a_job_left_for_exposure_says_so() {
    use forenoon_planner::explain::{Reasons, explain};
    let mut found = 0;
    for seed in 0..120 {
        let limited = |limit| {
            let mut parts = parts(seed, Kinds::ALL);
            parts.weights.exposure_point = 5_000;
            for crew in &mut parts.crews {
                crew.exposure_limit = limit;
            }
            parts
        };
        let problem = Problem::new(limited(Some(40)), &mut service).unwrap();
        let plan = solved(&problem, seed);
        for left in explain(&problem, &plan) {
            if let Reasons::NotWorthIt {
                for_exposure: true,
                cost,
                penalty,
                ..
            } = left.reasons
            {
                found += 1;
                assert!(cost >= penalty, "seed {seed}");
                let mut free = limited(None);
                for other in plan.unplanned.iter().filter(|job| **job != left.job) {
                    free.jobs[other.ix()].penalty = 0;
                }
                let free = Problem::new(free, &mut service).unwrap();
                let free = planned(&free, seed, 0, Some(&plan));
                assert!(free.find(left.job).is_some(), "seed {seed} {:?}", left.job);
            }
        }
    }
    assert!(found > 20, "only {found} jobs are left for exposure");
}
