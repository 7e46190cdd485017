//! Whatever the weights are, search and checker reckon the same cost, and each weight bears on it.

mod support;

use forenoon_planner::check::Violation;
use forenoon_planner::problem::{Previous, Problem, Weights};
use forenoon_planner::{CrewIx, check};
use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus as Rng;
use support::planned;
use support::random_problem::{Kinds, parts, service};

/// Nothing, a little, the usual or much.
fn around(rng: &mut Rng, usual: i64) -> i64 {
    match rng.random_range(0..5) {
        0 => 0,
        1 => usual,
        2 => rng.random_range(0..=usual),
        _ => rng.random_range(0..=usual * 8),
    }
}

fn weights(rng: &mut Rng) -> Weights {
    let usual = Weights::default();
    Weights {
        unplanned_permille: around(rng, usual.unplanned_permille),
        driving_permille: around(rng, usual.driving_permille),
        distance_per_km: around(rng, usual.distance_per_km),
        work_permille: around(rng, usual.work_permille),
        idle_permille: around(rng, usual.idle_permille),
        overtime_permille: around(rng, usual.overtime_permille),
        wear_permille: around(rng, usual.wear_permille),
        load_unit: around(rng, usual.load_unit),
        late_permille: around(rng, usual.late_permille),
        promise_broken: around(rng, usual.promise_broken),
        promise_late_per_hour: around(rng, usual.promise_late_per_hour),
        exposure_point: around(rng, usual.exposure_point),
        unfair_per_hour: around(rng, usual.unfair_per_hour),
        moved_job: around(rng, usual.moved_job),
        moved_tolerance: around(rng, usual.moved_tolerance),
        changed_crew: around(rng, usual.changed_crew),
        changed_promise: around(rng, usual.changed_promise),
    }
}

/// The debug build compares what each move costs with a full evaluation, and the checker reckons the whole plan anew.
#[test]
fn search_and_checker_agree_on_any_weights() {
    for kinds in [Kinds::ALL, Kinds::SHARED, Kinds::MEETING] {
        for seed in 0..700 {
            let mut parts = parts(seed, kinds);
            parts.weights = weights(&mut Rng::seed_from_u64(seed));
            let problem =
                Problem::new(parts, &mut service).unwrap_or_else(|faults| panic!("{faults}"));
            let plan = planned(&problem, seed, 80, None);
            assert_eq!(check(&problem, &plan), Ok(plan.cost), "seed {seed}");
        }
    }
}

/// Each weight by itself: the cost of one plan grows with it, and falls for the tolerance.
#[test]
fn each_weight_bears_on_the_cost() {
    type Heavier = fn(&mut Weights);
    let heavier: [(&str, Heavier); 17] = [
        ("unplanned_permille", |weights| {
            weights.unplanned_permille *= 2;
        }),
        ("driving_permille", |weights| weights.driving_permille *= 2),
        ("distance_per_km", |weights| weights.distance_per_km *= 2),
        ("work_permille", |weights| weights.work_permille *= 2),
        ("idle_permille", |weights| weights.idle_permille *= 2),
        ("overtime_permille", |weights| {
            weights.overtime_permille *= 2;
        }),
        ("wear_permille", |weights| weights.wear_permille *= 2),
        ("load_unit", |weights| weights.load_unit *= 2),
        ("late_permille", |weights| weights.late_permille *= 2),
        ("promise_broken", |weights| weights.promise_broken *= 2),
        ("promise_late_per_hour", |weights| {
            weights.promise_late_per_hour *= 2;
        }),
        ("exposure_point", |weights| weights.exposure_point *= 2),
        ("unfair_per_hour", |weights| weights.unfair_per_hour *= 2),
        ("moved_job", |weights| weights.moved_job *= 2),
        ("moved_tolerance", |weights| weights.moved_tolerance = 0),
        ("changed_crew", |weights| weights.changed_crew *= 2),
        ("changed_promise", |weights| weights.changed_promise *= 2),
    ];
    let mut dearer = [0; 17];
    for seed in 0..600 {
        let mut usual = parts(seed, Kinds::ALL);
        for job in &mut usual.jobs {
            // The plan before kept every promise.
            if let (Some(promise), true) = (job.promise, seed.is_multiple_of(2)) {
                job.previous = Some(Previous {
                    crew: CrewIx(0),
                    start: promise.open,
                    finish: promise.open,
                });
            }
        }
        let before =
            Problem::new(usual.clone(), &mut service).unwrap_or_else(|faults| panic!("{faults}"));
        let plan = planned(&before, seed, 20, None);
        for ((_, heavier), dearer) in heavier.iter().zip(&mut dearer) {
            let mut parts = usual.clone();
            heavier(&mut parts.weights);
            let after =
                Problem::new(parts, &mut service).unwrap_or_else(|faults| panic!("{faults}"));
            // The same plan, searched on for no iteration: no move is made that makes it dearer.
            let same = check(&after, &plan);
            let cost = match same {
                Ok(cost) => cost.total(),
                Err(found) => match &found[..] {
                    [Violation::Cost { reckoned, .. }] => reckoned.total(),
                    other => panic!("seed {seed}: {other:?}"),
                },
            };
            assert!(cost >= plan.cost.total(), "seed {seed}");
            *dearer += usize::from(cost > plan.cost.total());
        }
    }
    let idle: Vec<&str> = heavier
        .iter()
        .zip(dearer)
        .filter(|(_, dearer)| *dearer == 0)
        .map(|((name, _), _)| *name)
        .collect();
    assert!(idle.is_empty(), "never bear on a plan: {idle:?}");
}
