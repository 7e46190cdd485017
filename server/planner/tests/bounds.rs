//! Numbers at the bounds of what a problem may hold. Debug builds stop at the first sum that overflows.

#![expect(clippy::unwrap_used, reason = "a test stops with its message")]

mod support;

use forenoon_planner::problem::limits::{
    EXPOSURE_MAX, INSTANT_MAX, MONEY_MAX, PERMILLE_MAX, RATE_MAX, SERVICE_SECONDS_MAX,
    SHIFT_SECONDS_MAX, TASKS_MAX,
};
use forenoon_planner::problem::{
    Crew, Due, Fault, Faults, Item, Parts, Progress, ServiceQuery, ServiceTime, UnderWay, Weights,
    Window,
};
use forenoon_planner::travel::HourPace;
use forenoon_planner::value::{TrialSettings, WhatIf, what_if};
use forenoon_planner::{
    Cancel, CrewIx, Heat, Iterations, JobIx, Plan, Problem, Settings, check, explain, solve,
};
use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus as Rng;
use support::plain;
use support::random_problem::{Kinds, parts};

/// Every answer at its bound for some of the tools, a quick one for others.
#[expect(clippy::unnecessary_wraps, reason = "the planner asks for an option")]
fn service(query: ServiceQuery) -> Option<ServiceTime> {
    let longest = (query.job.0 as usize + query.task + query.method).is_multiple_of(3);
    Some(ServiceTime {
        seconds: if longest { SERVICE_SECONDS_MAX } else { 60 },
        bound_seconds: SERVICE_SECONDS_MAX,
        log_deviation_permille: 3_000,
        exposure: EXPOSURE_MAX,
    })
}

/// Nothing, or as much as there may be.
fn either(rng: &mut Rng, max: i64) -> i64 {
    if rng.random_range(0..4) == 0 { 0 } else { max }
}

fn weights(rng: &mut Rng) -> Weights {
    Weights {
        unplanned_permille: either(rng, PERMILLE_MAX),
        driving_permille: either(rng, PERMILLE_MAX),
        distance_per_km: either(rng, RATE_MAX),
        work_permille: either(rng, PERMILLE_MAX),
        idle_permille: either(rng, PERMILLE_MAX),
        overtime_permille: either(rng, PERMILLE_MAX),
        wear_permille: either(rng, PERMILLE_MAX),
        load_unit: either(rng, MONEY_MAX),
        late_permille: either(rng, PERMILLE_MAX),
        promise_broken: either(rng, MONEY_MAX),
        promise_late_per_hour: either(rng, RATE_MAX),
        exposure_point: either(rng, RATE_MAX),
        unfair_per_hour: either(rng, RATE_MAX),
        moved_job: either(rng, MONEY_MAX),
        moved_tolerance: either(rng, INSTANT_MAX),
        changed_crew: either(rng, MONEY_MAX),
        changed_promise: either(rng, MONEY_MAX),
    }
}

/// A random day with as much of everything as there may be.
fn at_the_bounds(seed: u64, rng: &mut Rng) -> Parts {
    let mut parts = parts(
        seed,
        if seed.is_multiple_of(3) {
            Kinds::MEETING
        } else {
            Kinds::ALL
        },
    );
    parts.weights = weights(rng);
    let slow = HourPace::new([100; 24]).unwrap();
    if rng.random_range(0..4) == 0 {
        parts.travel = parts.travel.clone().with_pace(slow);
    }
    for crew in &mut parts.crews {
        crew.wage_per_hour = either(rng, RATE_MAX);
        crew.overtime_per_hour = either(rng, RATE_MAX);
        crew.pace_permille = 2_500;
        crew.exposure_limit = Some(0);
        crew.fair_load = Some(0);
        if rng.random_range(0..3) == 0 {
            crew.shift_end = crew.shift_start + SHIFT_SECONDS_MAX;
            crew.overtime_max = SHIFT_SECONDS_MAX;
        }
        if rng.random_range(0..6) == 0 {
            crew.progress = Progress::UnderWay(UnderWay {
                place: crew.start,
                ready_at: if rng.random_range(0..2) == 0 {
                    -INSTANT_MAX
                } else {
                    INSTANT_MAX
                },
                aboard: vec![],
                frozen: vec![],
                breaks_taken: 0,
            });
        }
    }
    for class in &mut parts.classes {
        class.wear_per_hour = either(rng, RATE_MAX);
    }
    for job in &mut parts.jobs {
        job.penalty = either(rng, MONEY_MAX);
        job.due = Some(Due {
            at: if rng.random_range(0..2) == 0 {
                -INSTANT_MAX
            } else {
                0
            },
            cost_per_hour: either(rng, RATE_MAX),
        });
        match rng.random_range(0..6) {
            0 => job.fixed_seconds = SERVICE_SECONDS_MAX,
            // Far away, with a wait of years in between.
            1 => job.windows.push(Window {
                open: INSTANT_MAX,
                close: INSTANT_MAX,
            }),
            2 if rng.random_range(0..16) == 0 => {
                job.tasks = vec![job.tasks[0].clone(); 100];
            }
            _ => {}
        }
    }
    parts
}

/// Halves what the fault says is too much.
fn lessen(parts: &mut Parts, item: Item) {
    let halve = |values: &mut [&mut i64]| {
        for value in values {
            **value /= 2;
        }
    };
    let mut by_its_work = false;
    if let Item::Job(job) = item {
        let job = &mut parts.jobs[job.ix()];
        // Its own sums first.
        by_its_work = job.penalty < 1_000_000;
        job.penalty /= 8;
        if let Some(due) = &mut job.due {
            due.cost_per_hour /= 8;
        }
    }
    if by_its_work {
        for class in &mut parts.classes {
            halve(&mut [&mut class.wear_per_hour]);
        }
    }
    for (ix, crew) in parts.crews.iter_mut().enumerate() {
        if by_its_work || item == Item::Crew(CrewIx::from_ix(ix)) {
            halve(&mut [&mut crew.wage_per_hour, &mut crew.overtime_per_hour]);
        }
    }
    let weights = &mut parts.weights;
    match item {
        Item::Weights => halve(&mut [&mut weights.distance_per_km, &mut weights.load_unit]),
        Item::Job(_) => halve(&mut [
            &mut weights.promise_broken,
            &mut weights.promise_late_per_hour,
            &mut weights.exposure_point,
            &mut weights.moved_job,
            &mut weights.changed_crew,
            &mut weights.changed_promise,
        ]),
        _ => halve(&mut [&mut weights.unfair_per_hour]),
    }
}

/// The day with half as much of what is too much, again and again, until the rest can just be added up.
fn just_accepted(mut parts: Parts) -> Problem {
    loop {
        match Problem::new(parts.clone(), &mut service) {
            Ok(problem) => return problem,
            Err(Faults(faults)) => {
                for fault in faults {
                    let Fault::CostTooLarge { item } = fault else {
                        unreachable!("{fault}")
                    };
                    assert_ne!(item, Item::Problem);
                    lessen(&mut parts, item);
                }
            }
        }
    }
}

fn plan(problem: &Problem, seed: u64, warm_start: Option<&Plan>, heat: Heat) -> Plan {
    let settings = Settings {
        seed,
        budget: &Iterations(30),
        cancel: &Cancel::new(),
        warm_start,
        heat,
    };
    let plan = solve(problem, &settings, &mut |_| {}).plan;
    let checked = check(problem, &plan);
    assert!(checked.is_ok(), "seed {seed}: {checked:?}");
    plan
}

/// What is accepted is planned, planned again, explained and valued without a sum that overflows, however near to the bound
/// it lies.
#[test]
fn accepted_numbers_never_overflow() {
    let (mut planned, mut left_out) = (0, 0);
    for seed in 0..150 {
        let rng = &mut Rng::seed_from_u64(seed);
        let problem = just_accepted(at_the_bounds(seed, rng));
        let first = plan(&problem, seed, None, Heat::Full);
        let again = plan(&problem, seed, Some(&first), Heat::Wide);
        planned += problem.jobs().len() - again.unplanned.len();
        left_out += again.unplanned.len();
        assert_eq!(explain(&problem, &again).len(), again.unplanned.len());
        let trial = TrialSettings {
            seed,
            budgets: [&Iterations(5); 2],
            cancel: &Cancel::new(),
        };
        for change in [
            WhatIf::WithoutJob(JobIx(0)),
            WhatIf::LongerShift {
                crew: CrewIx(0),
                seconds: SHIFT_SECONDS_MAX,
            },
        ] {
            what_if(&problem, &again, change, &trial);
        }
    }
    assert!(
        planned > 20 && left_out > 200,
        "{planned} planned, {left_out} left out"
    );
}

/// A day of one crew at its dearest, with a job that fits into none.
fn one_dear_crew(change: impl FnOnce(&mut Parts)) -> Parts {
    let crew = Crew {
        wage_per_hour: RATE_MAX,
        pace_permille: 2_500,
        ..plain::crew()
    };
    let mut parts = plain::parts(
        plain::road(&[0, 600]),
        vec![plain::class(0)],
        vec![plain::unit(0, 0)],
        vec![crew],
        vec![plain::job(1, &[0])],
    );
    parts.weights.work_permille = PERMILLE_MAX;
    parts.weights.idle_permille = PERMILLE_MAX;
    change(&mut parts);
    parts
}

/// Each of the sums that a job too long, or too far away in time, makes while it is tried: what is accepted can be added up,
/// and what is not names the item.
#[test]
fn what_fits_into_no_day_does_not_overflow() {
    let long =
        |parts: &mut Parts| parts.jobs[0].tasks = vec![parts.jobs[0].tasks[0].clone(); TASKS_MAX];
    let far = Window {
        open: INSTANT_MAX,
        close: INSTANT_MAX,
    };
    let now = Window { open: 0, close: 0 };
    let cases = [
        ("work", one_dear_crew(long), Some(Item::Job(JobIx(0)))),
        (
            "a wait",
            one_dear_crew(|parts| parts.jobs[0].windows = vec![now, far]),
            Some(Item::Crew(CrewIx(0))),
        ),
        (
            "lateness",
            one_dear_crew(|parts| {
                long(parts);
                parts.weights.late_permille = PERMILLE_MAX;
                parts.crews[0].wage_per_hour = 0;
                parts.jobs[0].due = Some(Due {
                    at: 0,
                    cost_per_hour: RATE_MAX,
                });
                let slow = HourPace::new([100; 24]).unwrap();
                parts.travel = parts.travel.clone().with_pace(slow);
            }),
            None,
        ),
    ];
    for (name, mut parts, too_much) in cases {
        let refused = Problem::new(parts.clone(), &mut service).err();
        let named = refused.map(|Faults(faults)| faults[0].item());
        assert_eq!(named, too_much, "{name}");
        let problem = loop {
            match Problem::new(parts.clone(), &mut service) {
                Ok(problem) => break problem,
                Err(_) => parts.crews[0].wage_per_hour /= 2,
            }
        };
        let planned = plan(&problem, 1, None, Heat::Full);
        assert_eq!(planned.unplanned, [JobIx(0)], "{name}");
        assert_eq!(explain(&problem, &planned).len(), 1, "{name}");
    }
}
