//! The plain problem.

use forenoon_planner::routing::{
    Cancel, Iterations, Options, RoutePlan, SolveError, Spent, Uniform, UniformError, Visit, solve,
    spatial_order,
};

use crate::cases::{Plain, orders};

fn options(seed: u64, threads: usize) -> Options {
    Options {
        seed,
        threads,
        ..Options::default()
    }
}

fn run(problem: &Uniform, seed: u64, threads: usize, iterations: u64) -> RoutePlan {
    solve(
        problem,
        &options(seed, threads),
        &Iterations(iterations),
        &Cancel::new(),
    )
    .unwrap_or_else(|error| panic!("{error}"))
    .plan
}

/// Guards incremental evaluation: with assertions on, the engine compares its state with a full recomputation after
/// every accepted iteration; here over a million iterations on problems of many shapes. The plans must also pass a
/// checker that shares no code with the engine.
#[cfg(debug_assertions)]
#[test]
fn incremental_equals_full_over_a_million_iterations() {
    let mut total = 0;
    for seed in 0..40 {
        let count = 5 + seed as usize * 2;
        let plain = Plain::random(count, count, seed);
        let outcome = solve(
            &plain.problem(),
            &options(seed, 1),
            &Iterations(26_000),
            &Cancel::new(),
        )
        .unwrap_or_else(|error| panic!("{error}"));
        total += outcome.iterations;
        assert_eq!(
            plain.check(&outcome.plan),
            Ok(outcome.plan.cost),
            "seed {seed}"
        );
    }
    assert!(total >= 1_000_000, "{total}");
}

/// Guards the promise of repeatable plans, on one thread and on two, and that the seed matters at all.
#[test]
fn same_seed_and_iterations_give_the_same_plan() {
    let plain = Plain::random(60, 30, 3);
    let problem = plain.problem();
    for threads in [1, 2] {
        assert_eq!(
            run(&problem, 5, threads, 20_000),
            run(&problem, 5, threads, 20_000)
        );
    }
    let early: Vec<RoutePlan> = (0..4).map(|seed| run(&problem, seed, 1, 200)).collect();
    assert!(early.iter().any(|plan| plan != &early[0]));
}

/// Least length over all ways to split and order up to seven stops.
fn optimum(plain: &Plain) -> Option<i64> {
    let count = plain.visits.len();
    let sets = 1 << count;
    let tours: Vec<Option<i64>> = (0..sets)
        .map(|set: usize| {
            let stops: Vec<usize> = (0..count).filter(|stop| set >> stop & 1 == 1).collect();
            orders(&stops)
                .iter()
                .filter_map(|order| plain.tour(order))
                .min()
        })
        .collect();
    // best[k][set]: least length with at most k routes.
    let mut best: Vec<Option<i64>> = vec![None; sets];
    best[0] = Some(0);
    for _ in 0..plain.vehicles {
        let mut more = best.clone();
        for set in 1..sets {
            let mut part = set;
            while part > 0 {
                if let (Some(tour), Some(rest)) = (tours[part], best[set & !part]) {
                    more[set] =
                        Some(more[set].map_or(tour + rest, |known: i64| known.min(tour + rest)));
                }
                part = (part - 1) & set;
            }
        }
        best = more;
    }
    best[sets - 1]
}

/// Guards the search itself: on tiny problems it must find the optimum of brute force, and leave stops out exactly when
/// the vehicles cannot serve all.
#[test]
fn tiny_problems_are_solved_to_the_optimum() {
    let mut served = 0;
    let mut not_served = 0;
    for seed in 0..120 {
        let count = 2 + seed as usize % 6;
        let case = Plain::random(count, 1 + seed as usize % 3, 1000 + seed);
        let plan = run(&case.problem(), seed, 1, 3_000);
        if let Some(optimum) = optimum(&case) {
            assert_eq!(case.check(&plan), Ok(optimum), "seed {seed}");
            assert_eq!(plan.cost, optimum);
            served += 1;
        } else {
            assert!(!plan.skipped.is_empty(), "seed {seed}");
            not_served += 1;
        }
    }
    assert!(served > 40 && not_served > 10, "{served} {not_served}");
}

/// Guards against losing a plan that was given: starting from a plan never ends in a worse one.
#[test]
fn a_given_start_is_never_made_worse() {
    let plain = Plain::random(50, 25, 11);
    let problem = plain.problem();
    let good = run(&problem, 1, 1, 30_000);
    let start = Options {
        start: Some(good.clone()),
        ..options(2, 1)
    };
    let outcome = solve(&problem, &start, &Iterations(50), &Cancel::new());
    assert!(outcome.is_ok_and(|outcome| outcome.plan.cost <= good.cost));
    let mut broken = good;
    broken.routes.pop();
    let start = Options {
        start: Some(broken),
        ..options(2, 1)
    };
    let outcome = solve(&problem, &start, &Iterations(50), &Cancel::new());
    assert!(matches!(outcome, Err(SolveError::Start(_))), "{outcome:?}");
}

/// Guards cancellation: once the flag is up, no more than one polling interval of iterations is made; before the start,
/// there is no plan.
#[test]
fn cancel_stops_the_search() {
    let plain = Plain::random(80, 40, 12);
    let problem = plain.problem();
    let cancel = Cancel::new();
    let budget = Spent(|iterations: u64| {
        if iterations >= 1_000 {
            cancel.raise();
        }
        0.5
    });
    let outcome =
        solve(&problem, &options(1, 1), &budget, &cancel).unwrap_or_else(|error| panic!("{error}"));
    assert!(
        (1_000..1_100).contains(&outcome.iterations),
        "{}",
        outcome.iterations
    );
    assert_eq!(plain.check(&outcome.plan), Ok(outcome.plan.cost));
    assert_eq!(
        solve(&problem, &options(1, 1), &budget, &cancel),
        Err(SolveError::Cancelled)
    );
}

/// Guards the edge: every fault of a description is reported, with the stop it is about.
#[test]
fn faults_of_a_description_are_named() {
    let visit = Visit {
        demand: 1,
        open: 0,
        close: 100,
        service: 0,
    };
    let faults = |stops: &[Visit], vehicles, capacity, leg: i64| {
        Uniform::new(stops, visit, vehicles, capacity, |_, _| leg)
            .err()
            .unwrap_or_default()
    };
    assert_eq!(faults(&[], 1, 5, 1), vec![UniformError::NoStops]);
    assert_eq!(
        faults(&[visit], 0, 5, 1),
        vec![UniformError::Vehicles { vehicles: 0 }]
    );
    assert_eq!(
        faults(
            &[
                visit,
                Visit {
                    demand: -1,
                    ..visit
                },
                Visit {
                    open: 9,
                    close: 8,
                    ..visit
                }
            ],
            1,
            5,
            1
        ),
        vec![
            UniformError::OutOfRange {
                stop: Some(1),
                field: "demand",
                value: -1
            },
            UniformError::Window {
                stop: Some(2),
                open: 9,
                close: 8
            },
        ]
    );
    assert_eq!(
        faults(&[visit], 1, i64::MAX, -4),
        vec![
            UniformError::OutOfRange {
                stop: None,
                field: "vehicle capacity",
                value: i64::MAX
            },
            UniformError::OutOfRange {
                stop: Some(0),
                field: "distance",
                value: -4
            },
        ]
    );
    for (stops, capacity, leg) in [
        ([Visit { demand: 6, ..visit }], 5, 1),
        ([Visit { close: 9, ..visit }], 5, 10),
        (
            [Visit {
                service: 99,
                ..visit
            }],
            5,
            10,
        ),
    ] {
        let found = faults(&stops, 1, capacity, leg);
        assert!(
            matches!(found[..], [UniformError::Unreachable { stop: 0, .. }]),
            "{found:?}"
        );
    }
}

/// Guards the numbering: it must hold every point once, also for none, one, or equal points.
#[test]
fn spatial_order_is_a_permutation() {
    for points in [
        vec![],
        vec![(1.0, 2.0)],
        vec![(3.0, 3.0); 5],
        vec![(0.0, 0.0), (-5.0, 1e6), (2.0, 2.0)],
    ] {
        let mut order = spatial_order(&points);
        order.sort_unstable();
        assert_eq!(order, (0..points.len()).collect::<Vec<_>>());
    }
}
