//! One test for each kind of constraint and decision: with it the plan is another than without it, in the way that a
//! dispatcher would expect. That plans are optimal under all kinds at once is tested in `exact.rs`.

#![expect(
    clippy::expect_used,
    clippy::unwrap_used,
    clippy::panic,
    reason = "a test stops with its message"
)]

use forenoon_planner::index::*;
use forenoon_planner::plan::Visit;
use forenoon_planner::problem::{
    Bound, Break, Crew, FrozenStop, Job, Method, Parts, Progress, Role, ServiceQuery, ServiceTime,
    Task, Tool, UnderWay, Unit, UnitClass, Weights, Window, YardCall,
};
use forenoon_planner::travel::{HourPace, Travel, Triangle};
use forenoon_planner::{Cancel, Heat, Iterations, Plan, Problem, Seconds, Settings, check, solve};

const HOUR: Seconds = 3_600;
const YARD: PlaceIx = PlaceIx(0);
/// Seconds between any two places.
const DRIVE: Seconds = 600;
const DECK: ClassIx = ClassIx(0);
const SMALL: ClassIx = ClassIx(1);
const POWERHEAD: ClassIx = ClassIx(2);
const BLADE: ClassIx = ClassIx(3);
const MOW: CapabilityIx = CapabilityIx(0);
const CUT: CapabilityIx = CapabilityIx(1);

fn class(role: Role, can: &[CapabilityIx], width_mm: u32, slope: u32, space: u32) -> UnitClass {
    UnitClass {
        role,
        capabilities: can.to_vec(),
        width_mm,
        slope_max_permille: slope,
        space,
        wear_per_hour: 100,
        noisy: true,
    }
}

fn unit(class: ClassIx) -> Unit {
    Unit {
        class,
        home: YARD,
        available: vec![Window {
            open: 0,
            close: 72 * HOUR,
        }],
    }
}

fn crew(day: u16) -> Crew {
    let morning = Seconds::from(day) * 24 * HOUR;
    Crew {
        day,
        shift_start: morning + 7 * HOUR,
        shift_end: morning + 15 * HOUR,
        overtime_max: 0,
        start: YARD,
        end: YARD,
        pace_permille: 1_000,
        skills: vec![],
        size: 2,
        load_space: 10,
        wage_per_hour: 4_000,
        overtime_per_hour: 2_000,
        breaks: vec![],
        fair_load: None,
        exposure_limit: None,
        yard_calls: vec![],
        calls_max: 0,
        progress: Progress::NotStarted,
    }
}

fn task(capability: CapabilityIx) -> Task {
    Task {
        methods: vec![Method {
            capability: Some(capability),
            gate_mm: None,
            slope_permille: 50,
        }],
    }
}

/// An hour's mowing at a place, wanted at any time of three days.
fn job(place: u32) -> Job {
    Job {
        place: PlaceIx(place),
        windows: vec![Window {
            open: 0,
            close: 72 * HOUR,
        }],
        bound: Bound::Start,
        penalty: 50_000,
        due: None,
        skills: vec![],
        crew_size_min: 0,
        crews: None,
        promise: None,
        quiet: vec![],
        fixed_seconds: 0,
        tasks: vec![task(MOW)],
        previous: None,
    }
}

/// One crew, a deck, a small mower, a powerhead with a blade, two jobs.
fn parts() -> Parts {
    let coupling = CouplingIx(0);
    let places = 5;
    let table: Vec<Option<i64>> = (0..places * places)
        .map(|cell| {
            Some(if cell / places == cell % places {
                0
            } else {
                DRIVE
            })
        })
        .collect();
    Parts {
        travel: Travel::from_table(
            places,
            &table,
            None,
            Triangle::Refuse {
                tolerance_seconds: 0,
            },
        )
        .unwrap(),
        crews: vec![crew(0)],
        classes: vec![
            class(Role::Whole, &[MOW], 1_500, 200, 6),
            class(Role::Whole, &[MOW], 550, 400, 2),
            class(Role::Powerhead { coupling }, &[], 0, 900, 1),
            class(Role::Attachment { coupling }, &[CUT], 0, 900, 1),
        ],
        share_units: false,
        plan_meetings: false,
        units: vec![unit(DECK), unit(SMALL), unit(POWERHEAD), unit(BLADE)],
        jobs: vec![job(1), job(2)],
        weights: Weights::default(),
    }
}

/// The deck takes an hour, the small mower two, the blade half an hour; a crew of one takes twice as long.
#[expect(clippy::unnecessary_wraps, reason = "the planner asks for an option")]
fn service(query: ServiceQuery) -> Option<ServiceTime> {
    let seconds = match query.tool {
        Tool::Whole(class) if class == DECK => 3_600,
        Tool::Whole(_) => 7_200,
        Tool::Pair { .. } | Tool::Hand => 1_800,
    };
    let seconds = seconds * 2 / u32::from(query.crew_size).min(2);
    Some(ServiceTime {
        seconds,
        bound_seconds: seconds,
        log_deviation_permille: 200,
        exposure: 0,
    })
}

fn plan_of(change: impl FnOnce(&mut Parts)) -> (Problem, Plan) {
    let mut parts = parts();
    change(&mut parts);
    let problem = Problem::new(parts, &mut service).unwrap();
    let settings = Settings {
        seed: 1,
        budget: &Iterations(1_500),
        cancel: &Cancel::new(),
        warm_start: None,
        heat: Heat::Full,
    };
    let plan = solve(&problem, &settings, &mut |_| {}).plan;
    let checked = check(&problem, &plan);
    assert!(checked.is_ok(), "{checked:?}");
    (problem, plan)
}

fn plan(change: impl FnOnce(&mut Parts)) -> Plan {
    plan_of(change).1
}

/// Crew, start and finish of a job.
fn at(plan: &Plan, job: u32) -> (usize, Seconds, Seconds) {
    let (crew, stop) = plan.find(JobIx(job)).expect("the job is planned");
    let stop = &plan.crews[crew.ix()].stops[stop];
    (crew.ix(), stop.start, stop.finish)
}

/// The class that does the first task of a job.
fn tool(problem: &Problem, plan: &Plan, job: u32) -> ClassIx {
    let (crew, stop) = plan.find(JobIx(job)).expect("the job is planned");
    match &plan.crews[crew.ix()].stops[stop].visit {
        Visit::Job { tasks, .. } => problem.unit(tasks[0].unit.expect("a unit")).class,
        other => panic!("{other:?}"),
    }
}

/// The ground all other tests stand on: nothing in the way, the deck does both jobs from seven on.
#[test]
fn nothing_in_the_way() {
    let (problem, plan) = plan_of(|_| {});
    assert!(plan.unplanned.is_empty());
    assert_eq!(tool(&problem, &plan, 0), DECK);
    let day = &plan.crews[0];
    assert_eq!(day.stops[0].start, 7 * HOUR + DRIVE);
    assert_eq!(day.back_at, 7 * HOUR + 3 * DRIVE + 2 * HOUR);
}

#[test]
fn a_gate_and_a_slope_want_the_small_mower() {
    let by_gate = plan_of(|parts| parts.jobs[0].tasks[0].methods[0].gate_mm = Some(900));
    let by_slope = plan_of(|parts| parts.jobs[0].tasks[0].methods[0].slope_permille = 300);
    for (problem, plan) in [by_gate, by_slope] {
        assert_eq!(tool(&problem, &plan, 0), SMALL);
    }
}

#[test]
fn an_attachment_needs_its_powerhead() {
    let cut = |parts: &mut Parts| parts.jobs[0].tasks = vec![task(CUT)];
    let (problem, whole) = plan_of(cut);
    assert_eq!(tool(&problem, &whole, 0), BLADE);
    assert!(whole.crews[0].load_out.contains(&UnitIx(2)));
    let without = plan(|parts| {
        cut(parts);
        parts.units[2].available.clear();
    });
    assert_eq!(without.unplanned, vec![JobIx(0)]);
    let other_coupling = plan(|parts| {
        cut(parts);
        parts.classes[2].role = Role::Powerhead {
            coupling: CouplingIx(1),
        };
    });
    assert_eq!(other_coupling.unplanned, vec![JobIx(0)]);
}

#[test]
fn load_space_decides_what_goes_along() {
    let (problem, plan) = plan_of(|parts| parts.crews[0].load_space = 5);
    assert_eq!(tool(&problem, &plan, 0), SMALL);
    assert!(plan.crews[0].load_out.iter().all(|unit| *unit != UnitIx(0)));
}

#[test]
fn a_unit_goes_out_only_while_it_is_available() {
    // The deck is due in service at nine: too early for a round with it.
    let (problem, plan) = plan_of(|parts| {
        parts.units[0].available = vec![Window {
            open: 0,
            close: 8 * HOUR,
        }];
    });
    assert_eq!(tool(&problem, &plan, 0), SMALL);
}

#[test]
fn one_unit_serves_one_crew() {
    let plan = plan(|parts| {
        parts.crews.push(crew(0));
        parts.units.truncate(1);
        for (job, crew) in parts.jobs.iter_mut().zip([0, 1]) {
            job.crews = Some(vec![CrewIx(crew)]);
        }
    });
    assert_eq!(plan.unplanned.len(), 1);
}

#[test]
fn skills_size_and_named_crews_bind() {
    for bind in [
        (|job: &mut Job| job.skills = vec![SkillIx(0)]) as fn(&mut Job),
        |job| job.crew_size_min = 3,
        |job| job.crews = Some(vec![CrewIx(1)]),
    ] {
        let alone = plan(|parts| {
            if parts.crews.len() == 1 {
                parts.crews.push(Crew {
                    skills: vec![],
                    size: 2,
                    load_space: 0,
                    ..crew(0)
                });
            }
            bind(&mut parts.jobs[0]);
        });
        assert_eq!(alone.unplanned, vec![JobIx(0)]);
        let fitting = plan(|parts| {
            parts.crews.push(Crew {
                skills: vec![SkillIx(0)],
                size: 3,
                ..crew(0)
            });
            parts.units.push(unit(DECK));
            bind(&mut parts.jobs[0]);
        });
        assert_eq!(at(&fitting, 0).0, 1);
    }
}

#[test]
fn a_bigger_crew_works_faster() {
    let plan = plan(|parts| {
        parts.crews[0].size = 1;
        parts.jobs.truncate(1);
    });
    let (_, start, finish) = at(&plan, 0);
    assert_eq!(finish - start, 2 * HOUR);
}

#[test]
fn tasks_follow_one_another() {
    let (problem, plan) = plan_of(|parts| parts.jobs[0].tasks = vec![task(CUT), task(MOW)]);
    assert_eq!(tool(&problem, &plan, 0), BLADE);
    let (_, start, finish) = at(&plan, 0);
    assert_eq!(finish - start, HOUR + HOUR / 2);
}

#[test]
fn several_windows_are_all_used() {
    let windows = |parts: &mut Parts| {
        parts.jobs[0].windows = vec![
            Window {
                open: 5 * HOUR,
                close: 6 * HOUR,
            },
            Window {
                open: 13 * HOUR,
                close: 14 * HOUR,
            },
        ];
    };
    assert_eq!(at(&plan(windows), 0).1, 13 * HOUR);
    let second_day = plan(|parts| {
        parts.jobs[0].windows = vec![Window {
            open: 30 * HOUR,
            close: 40 * HOUR,
        }];
    });
    assert_eq!(second_day.unplanned, vec![JobIx(0)]);
}

#[test]
fn what_does_not_fit_today_is_carried_over() {
    let full = |parts: &mut Parts| {
        parts.crews[0].shift_end = 7 * HOUR + 2 * DRIVE + HOUR;
    };
    assert_eq!(plan(full).unplanned.len(), 1);
    let two_days = plan(|parts| {
        full(parts);
        let mut second = crew(1);
        second.shift_end = second.shift_start + 2 * DRIVE + HOUR;
        parts.crews.push(second);
    });
    assert!(two_days.unplanned.is_empty());
    // The one deck goes out on both days.
    let days: Vec<bool> = two_days
        .crews
        .iter()
        .map(|day| day.load_out.contains(&UnitIx(0)))
        .collect();
    assert_eq!(days, vec![true, true]);
    assert!(two_days.crews[1].stops[0].start >= 31 * HOUR);
}

#[test]
fn a_deadline_comes_before_a_later_job() {
    let plan = plan(|parts| {
        parts.jobs[1].windows[0].close = 7 * HOUR + DRIVE;
    });
    assert_eq!(at(&plan, 1).1, 7 * HOUR + DRIVE);
    assert!(at(&plan, 0).1 > at(&plan, 1).2);
}

#[test]
fn the_dearer_job_stays_when_one_must_go() {
    let plan = plan(|parts| {
        parts.crews[0].shift_end = 7 * HOUR + 2 * DRIVE + HOUR;
        parts.jobs[1].penalty = 60_000;
    });
    assert_eq!(plan.unplanned, vec![JobIx(0)]);
}

#[test]
fn a_break_interrupts_the_work() {
    let plan = plan(|parts| {
        parts.jobs.truncate(1);
        parts.crews[0].breaks = vec![Break {
            earliest: 7 * HOUR + HOUR / 2,
            latest: 9 * HOUR,
            seconds: 1_200,
        }];
    });
    let (_, start, finish) = at(&plan, 0);
    assert_eq!(finish - start, HOUR + 1_200);
    assert_eq!(plan.crews[0].breaks.len(), 1);
}

#[test]
fn noisy_work_waits_for_the_end_of_quiet_hours() {
    let quiet = |parts: &mut Parts| {
        parts.jobs.truncate(1);
        parts.jobs[0].quiet = vec![Window {
            open: 0,
            close: 9 * HOUR,
        }];
    };
    assert_eq!(at(&plan(quiet), 0).1, 9 * HOUR);
    let silent = plan(|parts| {
        quiet(parts);
        parts.classes[0].noisy = false;
    });
    assert_eq!(at(&silent, 0).1, 7 * HOUR + DRIVE);
}

#[test]
fn rush_hours_slow_the_drive() {
    let plan = plan(|parts| {
        let mut pace = [1_000; 24];
        pace[7] = 500;
        parts.travel = parts.travel.clone().with_pace(HourPace::new(pace).unwrap());
        parts.jobs.truncate(1);
    });
    let stop = &plan.crews[0].stops[0];
    assert_eq!(stop.drive_seconds, 2 * DRIVE);
    // The drive home is after eight, at the usual pace.
    assert_eq!(plan.crews[0].back_at, stop.finish + DRIVE);
}

#[test]
fn a_call_at_the_yard_swaps_units() {
    // Deck and blade do not fit together; both jobs are wanted.
    let tight = |parts: &mut Parts| {
        parts.crews[0].load_space = 6;
        parts.units.remove(1);
        parts.jobs[1].tasks = vec![task(CUT)];
    };
    assert_eq!(plan(tight).unplanned.len(), 1);
    let called = plan(|parts| {
        tight(parts);
        parts.crews[0].calls_max = 1;
        parts.crews[0].yard_calls = vec![YardCall {
            place: YARD,
            seconds: 600,
        }];
    });
    assert!(called.unplanned.is_empty());
    let swap = called.crews[0].stops.iter().any(
        |stop| matches!(&stop.visit, Visit::Yard { load, unload } if !load.is_empty() && !unload.is_empty()),
    );
    assert!(swap, "{:?}", called.crews[0].stops);
}

#[test]
fn overtime_is_taken_only_when_it_pays() {
    let late = |overtime: i64| {
        plan(move |parts| {
            parts.crews[0].shift_end = 7 * HOUR + 2 * DRIVE + HOUR;
            parts.crews[0].overtime_max = 4 * HOUR;
            parts.crews[0].overtime_per_hour = overtime;
        })
    };
    assert!(late(2_000).unplanned.is_empty());
    assert_eq!(late(90_000).unplanned.len(), 1);
}

#[test]
fn what_is_done_stays_done() {
    let plan = plan(|parts| {
        parts.crews[0].progress = Progress::UnderWay(UnderWay {
            place: PlaceIx(1),
            ready_at: 9 * HOUR,
            aboard: vec![UnitIx(1)],
            frozen: vec![FrozenStop {
                job: JobIx(0),
                arrival: 8 * HOUR,
                start: 8 * HOUR,
                finish: 9 * HOUR,
                units: vec![UnitIx(1)],
            }],
            breaks_taken: 0,
        });
    });
    assert_eq!(at(&plan, 0), (0, 8 * HOUR, 9 * HOUR));
    // The deck stands at the yard; the crew has what is aboard.
    let (_, start, finish) = at(&plan, 1);
    assert_eq!((start, finish), (9 * HOUR + DRIVE, 11 * HOUR + DRIVE));
}

/// Guards cancellation: a raised flag ends the search at the next iteration, and before the first one at once.
#[test]
fn cancel_ends_the_search() {
    let problem = Problem::new(parts(), &mut service).unwrap();
    let cancel = Cancel::new();
    let budget = forenoon_planner::Spent(|iterations: u64| {
        if iterations == 50 {
            cancel.raise();
        }
        0.5
    });
    let settings = Settings {
        seed: 1,
        budget: &budget,
        cancel: &cancel,
        warm_start: None,
        heat: Heat::Full,
    };
    let solved = solve(&problem, &settings, &mut |_| {});
    assert!(solved.cancelled);
    assert_eq!(solved.iterations, 51);
    assert!(check(&problem, &solved.plan).is_ok());
    let again = solve(&problem, &settings, &mut |_| {});
    assert_eq!((again.iterations, again.plan.unplanned.len()), (0, 2));
    assert!(check(&problem, &again.plan).is_ok());
}

/// Guards progress: reports come in order, never get worse, and end at the plan returned.
#[test]
fn progress_never_gets_worse() {
    let problem = Problem::new(parts(), &mut service).unwrap();
    let settings = Settings {
        seed: 1,
        budget: &Iterations(5_000),
        cancel: &Cancel::new(),
        warm_start: None,
        heat: Heat::Full,
    };
    let mut reports = Vec::new();
    let solved = solve(&problem, &settings, &mut |progress| reports.push(*progress));
    assert!(reports.len() > 2, "{}", reports.len());
    for pair in reports.windows(2) {
        assert!(pair[0].iterations <= pair[1].iterations && pair[0].spent <= pair[1].spent);
        assert!(pair[1].best_cost <= pair[0].best_cost);
    }
    let last = reports.last().expect("a report");
    assert_eq!(last.best_cost, solved.plan.cost.total());
    assert_eq!(last.unplanned, solved.plan.unplanned.len());
}
