//! Bad input is refused with a fault that names the item, and never ends in a panic.

#![expect(
    clippy::unwrap_used,
    clippy::too_many_lines,
    clippy::items_after_statements,
    clippy::type_complexity,
    clippy::semicolon_if_nothing_returned,
    reason = "a table of cases, and helpers that may fail loudly"
)]

mod support;

use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use forenoon_planner::problem::limits::{
    CLASSES_MAX, INSTANT_MAX, JOBS_MAX, MONEY_MAX, PERMILLE_MAX, RATE_MAX, TRAVEL_METRES_MAX,
};
use forenoon_planner::problem::{
    Break, Crew, Fault, FrozenStop, Item, Meeting, Parts, Previous, Progress, Promise, Role,
    UnderWay, Window,
};
use forenoon_planner::travel::{Coordinate, HourPace, RoadModel, Travel, TravelFault, Triangle};
use forenoon_planner::{
    Cancel, ClassIx, CrewIx, Heat, Iterations, JobIx, PlaceIx, Problem, Settings, SkillIx, Spent,
    UnitIx, check, solve,
};
use proptest::prelude::*;
use support::branch_day::{self, Size};
use support::random_problem::{Kinds, parts, service};

/// A valid problem to spoil: seed 40 has several of everything.
fn sound() -> Parts {
    (0..500)
        .map(|seed| {
            parts(
                seed,
                Kinds {
                    under_way: false,
                    ..Kinds::ALL
                },
            )
        })
        .find(|parts| parts.crews.len() >= 3 && parts.jobs.len() >= 6 && parts.units.len() >= 6)
        .unwrap()
}

fn faults(spoil: impl FnOnce(&mut Parts)) -> Vec<Fault> {
    let mut parts = sound();
    spoil(&mut parts);
    Problem::new(parts, &mut service).map(|_| ()).unwrap_err().0
}

fn out(crew: &mut Crew, aboard: &[u32], jobs: &[u32]) {
    let at = crew.shift_start + 3_600;
    let stop = |job: &u32| FrozenStop {
        job: JobIx(*job),
        arrival: at,
        start: at,
        finish: at,
        units: vec![],
    };
    crew.load_space = 1_000;
    crew.progress = Progress::UnderWay(UnderWay {
        place: PlaceIx(0),
        ready_at: at,
        aboard: aboard.iter().map(|unit| UnitIx(*unit)).collect(),
        frozen: jobs.iter().map(stop).collect(),
        breaks_taken: 0,
    });
}

/// Each kind of bad input gives its own fault, with the item it is about.
#[test]
fn every_fault_names_its_item() {
    let crew = Item::Crew(CrewIx(1));
    let job = Item::Job(JobIx(2));
    let unit = Item::Unit(UnitIx(3));
    let always = Window {
        open: 0,
        close: 1_000_000,
    };
    type Spoil = Box<dyn FnOnce(&mut Parts)>;
    let cases: Vec<(&str, Spoil, Box<dyn Fn(&Fault) -> bool>)> = vec![
        (
            "no crews",
            Box::new(|parts| parts.crews.clear()),
            Box::new(|fault| {
                matches!(
                    fault,
                    Fault::Empty {
                        item: Item::Problem,
                        what: "crews"
                    }
                )
            }),
        ),
        (
            "no jobs",
            Box::new(|parts| parts.jobs.clear()),
            Box::new(|fault| {
                matches!(
                    fault,
                    Fault::Empty {
                        item: Item::Problem,
                        what: "jobs"
                    }
                )
            }),
        ),
        (
            "too many jobs",
            Box::new(|parts| parts.jobs = vec![parts.jobs[0].clone(); JOBS_MAX + 1]),
            Box::new(|fault| matches!(fault, Fault::TooMany { what: "jobs", .. })),
        ),
        (
            "too many classes",
            Box::new(|parts| parts.classes = vec![parts.classes[0].clone(); CLASSES_MAX + 1]),
            Box::new(|fault| {
                matches!(
                    fault,
                    Fault::TooMany {
                        what: "classes",
                        ..
                    }
                )
            }),
        ),
        (
            "a shift that ends before it begins",
            Box::new(|parts| parts.crews[1].shift_end = parts.crews[1].shift_start - 1),
            Box::new(
                move |fault| matches!(fault, Fault::EndsBeforeStart { item, field: "shift", .. } if *item == crew),
            ),
        ),
        (
            "a window that ends before it begins",
            Box::new(|parts| parts.jobs[2].windows = vec![Window { open: 9, close: 8 }]),
            Box::new(
                move |fault| matches!(fault, Fault::EndsBeforeStart { item, field: "windows", .. } if *item == job),
            ),
        ),
        (
            "windows that overlap",
            Box::new(|parts| {
                parts.jobs[2].windows =
                    vec![Window { open: 0, close: 9 }, Window { open: 9, close: 20 }]
            }),
            Box::new(
                move |fault| matches!(fault, Fault::NotInOrder { item, field: "windows", .. } if *item == job),
            ),
        ),
        (
            "no window",
            Box::new(|parts| parts.jobs[2].windows.clear()),
            Box::new(
                move |fault| matches!(fault, Fault::Empty { item, what: "windows" } if *item == job),
            ),
        ),
        (
            "a promise outside all windows",
            Box::new(|parts| {
                parts.jobs[2].windows = vec![Window { open: 0, close: 9 }];
                parts.jobs[2].promise = Some(Promise {
                    at: Meeting::Start,
                    open: 10,
                    close: 12,
                    hard: true,
                });
            }),
            Box::new(
                move |fault| matches!(fault, Fault::PromiseOutsideWindows { item, .. } if *item == job),
            ),
        ),
        (
            "an instant beyond reason",
            Box::new(|parts| {
                parts.jobs[2].windows = vec![Window {
                    open: 0,
                    close: INSTANT_MAX + 1,
                }]
            }),
            Box::new(
                move |fault| matches!(fault, Fault::OutOfRange { item, field: "windows", .. } if *item == job),
            ),
        ),
        (
            "a negative penalty",
            Box::new(|parts| parts.jobs[2].penalty = -1),
            Box::new(
                move |fault| matches!(fault, Fault::OutOfRange { item, field: "penalty", .. } if *item == job),
            ),
        ),
        (
            "a wage beyond reason",
            Box::new(|parts| parts.crews[1].wage_per_hour = i64::MAX),
            Box::new(
                move |fault| matches!(fault, Fault::OutOfRange { item, field: "wage_per_hour", .. } if *item == crew),
            ),
        ),
        (
            "a crew of nobody",
            Box::new(|parts| parts.crews[1].size = 0),
            Box::new(
                move |fault| matches!(fault, Fault::OutOfRange { item, field: "size", .. } if *item == crew),
            ),
        ),
        (
            "a skill twice",
            Box::new(|parts| parts.crews[1].skills = vec![SkillIx(4), SkillIx(4)]),
            Box::new(
                move |fault| matches!(fault, Fault::Twice { item, field: "skills", value: 4 } if *item == crew),
            ),
        ),
        (
            "a unit of no class",
            Box::new(|parts| parts.units[3].class = ClassIx(99)),
            Box::new(
                move |fault| matches!(fault, Fault::Unknown { item, field: "class", value: 99, .. } if *item == unit),
            ),
        ),
        (
            "a unit that stands nowhere",
            Box::new(|parts| parts.units[3].home = PlaceIx(999)),
            Box::new(
                move |fault| matches!(fault, Fault::UnknownPlace { item, field: "home", .. } if *item == unit),
            ),
        ),
        (
            "a job done before by nobody",
            Box::new(|parts| {
                parts.jobs[2].previous = Some(Previous {
                    crew: CrewIx(77),
                    start: 0,
                    finish: 0,
                })
            }),
            Box::new(
                move |fault| matches!(fault, Fault::Unknown { item, value: 77, .. } if *item == job),
            ),
        ),
        (
            "a task without a method",
            Box::new(|parts| parts.jobs[2].tasks[0].methods.clear()),
            Box::new(|fault| {
                matches!(
                    fault,
                    Fault::Empty {
                        item: Item::Task {
                            job: JobIx(2),
                            task: 0
                        },
                        ..
                    }
                )
            }),
        ),
        (
            "a unit in two places",
            Box::new(move |parts| {
                parts.units[0].available = vec![always];
                for crew in &mut parts.crews[..2] {
                    crew.day = 0;
                    out(crew, &[0], &[]);
                }
            }),
            Box::new(|fault| {
                let Fault::UnitInTwoPlaces {
                    unit: UnitIx(0),
                    first: CrewIx(0),
                    second: CrewIx(1),
                } = fault
                else {
                    return false;
                };
                true
            }),
        ),
        (
            "a job frozen with two crews",
            Box::new(|parts| {
                for crew in &mut parts.crews[..2] {
                    out(crew, &[], &[1]);
                }
            }),
            Box::new(|fault| matches!(fault, Fault::JobFrozenTwice { job: JobIx(1), .. })),
        ),
        (
            "a tagged unit aboard",
            Box::new(|parts| {
                parts.units[0].available.clear();
                out(&mut parts.crews[1], &[0], &[]);
            }),
            Box::new(|fault| {
                matches!(
                    fault,
                    Fault::UnitNotAvailable {
                        unit: UnitIx(0),
                        crew: CrewIx(1),
                        ..
                    }
                )
            }),
        ),
        (
            "more aboard than fits",
            Box::new(move |parts| {
                parts.units[0].available = vec![always];
                out(&mut parts.crews[1], &[0], &[]);
                parts.crews[1].load_space = 0;
            }),
            Box::new(|fault| {
                matches!(
                    fault,
                    Fault::AboardTooLarge {
                        crew: CrewIx(1),
                        ..
                    }
                )
            }),
        ),
        (
            "costs that could overflow",
            Box::new(|parts| {
                parts.jobs = vec![parts.jobs[2].clone(); JOBS_MAX];
                for job in &mut parts.jobs {
                    job.penalty = MONEY_MAX;
                    job.due = Some(forenoon_planner::problem::Due {
                        at: 0,
                        cost_per_hour: RATE_MAX,
                    });
                }
            }),
            Box::new(|fault| matches!(fault, Fault::CostTooLarge { item: Item::Job(_) })),
        ),
        (
            "crews that are out so late that their overtime could overflow",
            Box::new(|parts| {
                parts.weights.overtime_permille = PERMILLE_MAX;
                for crew in &mut parts.crews {
                    crew.overtime_per_hour = RATE_MAX;
                    out(crew, &[], &[]);
                    if let Progress::UnderWay(way) = &mut crew.progress {
                        way.ready_at = INSTANT_MAX;
                    }
                }
            }),
            Box::new(|fault| {
                matches!(
                    fault,
                    Fault::CostTooLarge {
                        item: Item::Crew(_)
                    }
                )
            }),
        ),
        (
            "crews that are out so early that their waits could overflow",
            Box::new(|parts| {
                parts.weights.idle_permille = PERMILLE_MAX;
                for crew in &mut parts.crews {
                    crew.wage_per_hour = RATE_MAX;
                    out(crew, &[], &[]);
                    if let Progress::UnderWay(way) = &mut crew.progress {
                        way.ready_at = -INSTANT_MAX;
                    }
                }
            }),
            Box::new(|fault| {
                matches!(
                    fault,
                    Fault::CostTooLarge {
                        item: Item::Crew(_)
                    }
                )
            }),
        ),
        (
            "long drives that take no time",
            Box::new(|parts| {
                parts.weights.distance_per_km = RATE_MAX;
                parts.jobs = vec![parts.jobs[2].clone(); 300];
                let places = parts.travel.places();
                let far = |cell| {
                    let stays = cell / places == cell % places;
                    Some(if stays { 0 } else { TRAVEL_METRES_MAX })
                };
                let metres: Vec<_> = (0..places * places).map(far).collect();
                let seconds = vec![Some(0); places * places];
                let travel = Travel::from_table(places, &seconds, Some(&metres), Triangle::Accept);
                parts.travel = travel.unwrap();
            }),
            Box::new(|fault| {
                matches!(
                    fault,
                    Fault::CostTooLarge {
                        item: Item::Weights
                    }
                )
            }),
        ),
        (
            "a break at the end of time",
            Box::new(|parts| {
                let rest = Break {
                    earliest: 0,
                    latest: i64::MAX,
                    seconds: i64::MAX,
                };
                parts.crews[1].breaks = vec![rest; 2];
            }),
            Box::new(
                move |fault| matches!(fault, Fault::OutOfRange { item, field: "break", .. } if *item == crew),
            ),
        ),
    ];
    for (name, spoil, expected) in cases {
        let found = faults(spoil);
        assert!(found.iter().any(expected), "{name}: {found:?}");
        assert!(found.iter().all(|fault| !fault.to_string().is_empty()));
    }
}

/// Travel data with holes, negative times, loops and detours is refused with the places named.
#[test]
fn bad_travel_names_the_places() {
    let table = |change: &dyn Fn(&mut Vec<Option<i64>>), triangle| {
        let mut seconds: Vec<Option<i64>> = [0, 5, 9, 5, 0, 5, 9, 5, 0].map(Some).to_vec();
        change(&mut seconds);
        Travel::from_table(3, &seconds, None, triangle)
    };
    let refuse = Triangle::Refuse {
        tolerance_seconds: 0,
    };
    let (one, two) = (PlaceIx(1), PlaceIx(2));
    assert!(table(&|_| {}, refuse).is_ok());
    let hole = table(&|seconds| seconds[5] = None, refuse).unwrap_err();
    assert_eq!(hole, [TravelFault::Hole { from: one, to: two }]);
    let negative = table(&|seconds| seconds[5] = Some(-4), refuse).unwrap_err();
    assert!(matches!(
        negative[..],
        [TravelFault::OutOfRange {
            from: PlaceIx(1),
            to: PlaceIx(2),
            value: -4,
            ..
        }]
    ));
    let own = table(&|seconds| seconds[4] = Some(3), refuse).unwrap_err();
    assert_eq!(
        own,
        [TravelFault::Loop {
            place: one,
            value: 3
        }]
    );
    let detour = table(&|seconds| seconds[2] = Some(11), refuse).unwrap_err();
    let expected = TravelFault::Triangle {
        from: PlaceIx(0),
        by: one,
        to: two,
        direct: 11,
        detour: 10,
    };
    assert_eq!(detour, [expected]);
    assert!(table(&|seconds| seconds[2] = Some(11), Triangle::Accept).is_ok());
    assert!(
        table(
            &|seconds| seconds[2] = Some(11),
            Triangle::Refuse {
                tolerance_seconds: 1
            }
        )
        .is_ok()
    );
    assert!(matches!(
        table(&|seconds| seconds.truncate(8), refuse).unwrap_err()[..],
        [TravelFault::TableSize { .. }]
    ));
    assert_eq!(
        Travel::from_table(0, &[], None, refuse).unwrap_err(),
        [TravelFault::NoPlaces]
    );
    let road = RoadModel {
        road_permille: 1_300,
        metres_per_hour: 40_000,
        stop_seconds: 0,
    };
    let nowhere = [Coordinate {
        latitude: f64::NAN,
        longitude: 0.0,
    }];
    assert_eq!(
        Travel::from_coordinates(&nowhere, road).unwrap_err(),
        [TravelFault::Coordinate { place: PlaceIx(0) }]
    );
    assert!(HourPace::new([0; 24]).is_err());
}

/// Great-circle distance against the worked example of a printed table: one degree of a meridian on the sphere of
/// radius R is R times pi / 180.
#[test]
fn a_degree_of_latitude_is_a_degree_of_a_great_circle() {
    let south = Coordinate {
        latitude: 41.0,
        longitude: -92.0,
    };
    let north = Coordinate {
        latitude: 42.0,
        longitude: -92.0,
    };
    let degree = 6_371_008.8 * std::f64::consts::PI / 180.0;
    assert!((south.distance_metres(north) - degree).abs() < 0.01);
    let road = RoadModel {
        road_permille: 1_300,
        metres_per_hour: 40_000,
        stop_seconds: 60,
    };
    let travel = Travel::from_coordinates(&[south, north], road).unwrap();
    let expected = degree * 1.3 / 40_000.0 * 3_600.0 + 60.0;
    assert!((travel.table_seconds(PlaceIx(0), PlaceIx(1)) as f64 - expected).abs() <= 0.5);
}

/// A search stops within ten milliseconds of being cancelled, measured from the flag to the return, at the size of a
/// big day as well, and returns a plan that passes the checker.
#[test]
fn a_cancelled_search_stops_at_once() {
    let size = if cfg!(debug_assertions) {
        Size::BRANCH
    } else {
        Size::BIG
    };
    let problem = branch_day::problem(1, size);
    let cancel = Cancel::new();
    let raised_at = AtomicU64::new(0);
    let begin = Instant::now();
    let budget = Spent(|_| 0.0);
    let settings = Settings {
        seed: 1,
        budget: &budget,
        cancel: &cancel,
        warm_start: None,
        heat: Heat::Full,
    };
    let (solved, ended) = std::thread::scope(|scope| {
        scope.spawn(|| {
            std::thread::sleep(Duration::from_millis(400));
            raised_at.store(
                u64::try_from(begin.elapsed().as_micros()).unwrap(),
                Ordering::SeqCst,
            );
            cancel.raise();
        });
        let solved = solve(&problem, &settings, &mut |_| {});
        (solved, u64::try_from(begin.elapsed().as_micros()).unwrap())
    });
    assert!(solved.cancelled);
    assert!(check(&problem, &solved.plan).is_ok());
    // The promise of ten milliseconds is measured in the benchmark on a quiet machine; here others may run too.
    let took = ended - raised_at.load(Ordering::SeqCst);
    assert!(took < 200_000, "{took} microseconds");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1_500, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever numbers stand in a problem, it is either refused or planned; nothing panics.
    #[test]
    fn spoilt_problems_never_panic(seed in 0_u64..5_000, spoils in prop::collection::vec((0_u8..27, any::<i64>(), any::<u32>()), 1..6)) {
        let mut parts = parts(seed, Kinds::ALL);
        for (what, wide, narrow) in spoils {
            spoil(&mut parts, what, wide, narrow);
        }
        if let Ok(problem) = Problem::new(parts, &mut service) {
            let settings = Settings {
                seed,
                budget: &Iterations(5),
                cancel: &Cancel::new(),
                warm_start: None,
                heat: Heat::Full,
            };
            let plan = solve(&problem, &settings, &mut |_| {}).plan;
            let checked = check(&problem, &plan);
            prop_assert!(checked.is_ok(), "{checked:?}");
            prop_assert_eq!(forenoon_planner::explain(&problem, &plan).len(), plan.unplanned.len());
        }
    }
}

/// Puts a number where it may hurt. Small numbers come as often as large ones.
fn spoil(parts: &mut Parts, what: u8, wide: i64, narrow: u32) {
    let wide = if wide % 2 == 0 { wide } else { wide % 100_000 };
    let narrow = if narrow.is_multiple_of(2) {
        narrow
    } else {
        narrow % 20
    };
    let pick = |count: usize| narrow as usize % count.max(1);
    let (crew, job, unit, class) = (
        pick(parts.crews.len()),
        pick(parts.jobs.len()),
        pick(parts.units.len()),
        pick(parts.classes.len()),
    );
    match what {
        0 => parts.crews[crew].shift_start = wide,
        1 => parts.crews[crew].shift_end = wide,
        2 => parts.crews[crew].overtime_max = wide,
        3 => parts.crews[crew].start = PlaceIx(narrow),
        4 => parts.crews[crew].wage_per_hour = wide,
        5 => parts.crews[crew].load_space = narrow,
        6 => parts.crews[crew].day = u16::try_from(narrow % 70).unwrap_or(0),
        7 => parts.crews[crew].fair_load = Some(wide),
        8 => out(&mut parts.crews[crew], &[narrow], &[narrow / 3]),
        9 => parts.units[unit].class = ClassIx(narrow),
        10 => {
            parts.units[unit].available = vec![Window {
                open: wide,
                close: wide.saturating_add(i64::from(narrow)),
            }]
        }
        11 => parts.units[unit].home = PlaceIx(narrow),
        12 => parts.classes[class].space = narrow,
        13 => {
            parts.classes[class].role = Role::Powerhead {
                coupling: forenoon_planner::CouplingIx(narrow),
            }
        }
        14 => parts.classes[class].wear_per_hour = wide,
        15 => {
            parts.jobs[job].windows = vec![Window {
                open: wide,
                close: wide.saturating_add(i64::from(narrow)),
            }]
        }
        16 => parts.jobs[job].penalty = wide,
        17 => {
            parts.jobs[job].quiet = vec![Window {
                open: wide,
                close: wide.saturating_add(i64::from(narrow)),
            }]
        }
        18 => parts.jobs[job].fixed_seconds = narrow,
        19 => {
            parts.jobs[job].promise = Some(Promise {
                at: Meeting::Start,
                open: wide,
                close: wide.saturating_add(60),
                hard: wide % 3 == 0,
            })
        }
        20 => parts.jobs[job].crews = Some(vec![CrewIx(narrow)]),
        21 => parts.jobs[job].place = PlaceIx(narrow),
        22 => parts.weights.idle_permille = wide,
        23 => {
            out(&mut parts.crews[crew], &[], &[]);
            if let Progress::UnderWay(way) = &mut parts.crews[crew].progress {
                way.ready_at = wide % (INSTANT_MAX + 2);
            }
        }
        24 => {
            let rest = Break {
                earliest: i64::from(narrow),
                latest: wide,
                seconds: wide,
            };
            parts.crews[crew].breaks.push(rest);
        }
        25 => parts.crews[crew].overtime_per_hour = wide,
        _ => parts.weights.moved_tolerance = wide,
    }
}
