//! A day of an invented branch, of any size.

use forenoon_planner::index::*;
use forenoon_planner::problem::{
    Bound, Break, Crew, Due, Job, Meeting, Method, Parts, Progress, Promise, Role, ServiceQuery,
    ServiceTime, Task, Tool, Unit, UnitClass, Weights, Window, YardCall,
};
use forenoon_planner::travel::{Coordinate, RoadModel, Travel};
use forenoon_planner::{Problem, Seconds};
use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus as Rng;

const HOUR: Seconds = 3_600;
const MOW: CapabilityIx = CapabilityIx(0);
const TRIM: CapabilityIx = CapabilityIx(1);
const EDGE: CapabilityIx = CapabilityIx(2);
const BRUSH: CapabilityIx = CapabilityIx(3);
const BLOW: CapabilityIx = CapabilityIx(4);
const ROUGH: CapabilityIx = CapabilityIx(5);
const SPRAYER_LICENCE: SkillIx = SkillIx(0);
const SAW_TICKET: SkillIx = SkillIx(1);

/// Size of a day.
#[derive(Debug, Clone, Copy)]
pub struct Size {
    pub crews: usize,
    pub jobs: usize,
    pub units: usize,
    /// Half the side of the square the sites lie in, degrees of latitude.
    pub spread: f64,
}

impl Size {
    pub const BRANCH: Self = Self {
        crews: 8,
        jobs: 100,
        units: 60,
        spread: 0.09,
    };
    pub const BIG: Self = Self {
        crews: 100,
        jobs: 2_000,
        units: 700,
        spread: 0.35,
    };
}

struct Kind {
    class: UnitClass,
    /// Square metres in an hour, or metres for edges.
    rate: f64,
    /// Units in a hundred.
    share: usize,
}

fn kinds() -> Vec<Kind> {
    let coupling = CouplingIx(0);
    let kind =
        |role, capabilities: &[CapabilityIx], width_mm, slope, space, wear, noisy, rate, share| {
            Kind {
                class: UnitClass {
                    role,
                    capabilities: capabilities.to_vec(),
                    width_mm,
                    slope_max_permille: slope,
                    space,
                    wear_per_hour: wear,
                    noisy,
                },
                rate,
                share,
            }
        };
    vec![
        kind(Role::Whole, &[MOW], 1_600, 260, 900, 650, true, 8_000.0, 9),
        kind(Role::Whole, &[MOW], 1_220, 260, 600, 480, true, 5_200.0, 10),
        kind(Role::Whole, &[MOW], 910, 350, 380, 300, true, 3_000.0, 10),
        kind(Role::Whole, &[MOW], 540, 450, 150, 120, true, 1_300.0, 12),
        kind(Role::Whole, &[MOW], 540, 450, 150, 140, false, 1_000.0, 4),
        kind(
            Role::Powerhead { coupling },
            &[],
            0,
            1_000,
            40,
            90,
            true,
            0.0,
            14,
        ),
        kind(
            Role::Attachment { coupling },
            &[TRIM],
            0,
            1_000,
            30,
            40,
            false,
            900.0,
            9,
        ),
        kind(
            Role::Attachment { coupling },
            &[EDGE],
            0,
            700,
            30,
            50,
            false,
            700.0,
            8,
        ),
        kind(
            Role::Attachment { coupling },
            &[BRUSH],
            0,
            900,
            30,
            90,
            false,
            350.0,
            5,
        ),
        kind(Role::Whole, &[TRIM], 0, 1_000, 60, 100, true, 1_000.0, 5),
        kind(Role::Whole, &[BLOW], 0, 1_000, 70, 110, true, 5_000.0, 11),
        kind(
            Role::Whole,
            &[ROUGH, BRUSH],
            800,
            400,
            420,
            700,
            true,
            1_100.0,
            3,
        ),
    ]
}

/// The parts and the service table of a day.
pub fn parts(seed: u64, size: Size) -> (Parts, impl FnMut(ServiceQuery) -> Option<ServiceTime>) {
    let rng = &mut Rng::seed_from_u64(seed);
    let kinds = kinds();
    let mut coordinates = vec![Coordinate {
        latitude: 41.0,
        longitude: -92.0,
    }];
    let mut amounts: Vec<Vec<f64>> = Vec::new();
    let mut jobs = Vec::new();
    let towns: Vec<(f64, f64)> = (0..6 + size.jobs / 100)
        .map(|_| {
            (
                rng.random_range(-size.spread..size.spread),
                rng.random_range(-size.spread..size.spread),
            )
        })
        .collect();
    for n in 0..size.jobs {
        let town = towns[rng.random_range(0..towns.len())];
        let near = |rng: &mut Rng| rng.random_range(-0.02..0.02) + rng.random_range(-0.01..0.01);
        coordinates.push(Coordinate {
            latitude: 41.0 + town.0 + near(rng),
            longitude: -92.0 + (town.1 + near(rng)) / 0.755,
        });
        let (job, amount) = job(rng, n);
        jobs.push(job);
        amounts.push(amount);
    }
    let road = RoadModel {
        road_permille: 1_300,
        metres_per_hour: 42_000,
        stop_seconds: 120,
    };
    let travel = Travel::from_coordinates(&coordinates, road).unwrap();
    let units = units(rng, &kinds, size.units);
    let rates: Vec<f64> = kinds.iter().map(|kind| kind.rate).collect();
    let parts = Parts {
        travel,
        crews: (0..size.crews).map(|n| crew(rng, n)).collect(),
        classes: kinds.into_iter().map(|kind| kind.class).collect(),
        units,
        share_units: true,
        plan_meetings: false,
        jobs,
        weights: Weights::default(),
    };
    let service = move |query: ServiceQuery| {
        let amount = amounts[query.job.ix()][query.task];
        let rate = match query.tool {
            Tool::Hand => 600.0,
            Tool::Whole(class) => rates[class.ix()],
            Tool::Pair { attachment, .. } => rates[attachment.ix()],
        };
        // A second and a third pair of hands help, but less than in proportion.
        let hands = f64::from(query.crew_size).powf(0.75);
        let seconds = (amount / rate * 3_600.0 / hands) as u32 + 30;
        Some(ServiceTime {
            seconds,
            // A tool for each pair of hands, so that nobody waits.
            bound_seconds: seconds,
            log_deviation_permille: 220,
            exposure: (amount / rate * 10.0) as u32,
        })
    };
    (parts, service)
}

fn units(rng: &mut Rng, kinds: &[Kind], count: usize) -> Vec<Unit> {
    let total: usize = kinds.iter().map(|kind| kind.share).sum();
    (0..count)
        .map(|n| {
            let mut left = n * total / count;
            let class = kinds.iter().position(|kind| {
                let here = left < kind.share;
                left = left.saturating_sub(kind.share);
                here
            });
            let available = match rng.random_range(0..20) {
                0 => vec![],
                1 => vec![Window {
                    open: 11 * HOUR,
                    close: 24 * HOUR,
                }],
                2 => vec![Window {
                    open: 0,
                    close: 17 * HOUR,
                }],
                _ => vec![Window {
                    open: 0,
                    close: 24 * HOUR,
                }],
            };
            Unit {
                class: ClassIx(class.unwrap_or(0) as u32),
                home: PlaceIx(0),
                available,
            }
        })
        .collect()
}

fn crew(rng: &mut Rng, n: usize) -> Crew {
    let size = [2, 3, 2, 1, 3, 2, 4, 2][n % 8];
    let start = 7 * HOUR - 1_800 * rng.random_range(0..2);
    Crew {
        day: 0,
        shift_start: start,
        shift_end: start + 9 * HOUR,
        overtime_max: HOUR,
        start: PlaceIx(0),
        end: PlaceIx(0),
        skills: [SPRAYER_LICENCE, SAW_TICKET]
            .into_iter()
            .filter(|_| rng.random_range(0..2) == 0)
            .collect(),
        size,
        pace_permille: 1_000,
        load_space: [1_400, 2_200, 1_600, 900, 2_400, 1_500, 2_600, 1_300][n % 8],
        wage_per_hour: 2_400 * i64::from(size),
        overtime_per_hour: 1_200 * i64::from(size),
        breaks: vec![Break {
            earliest: start + 4 * HOUR,
            latest: start + 5 * HOUR + 1_800,
            seconds: 1_800,
        }],
        fair_load: Some(9 * HOUR),
        exposure_limit: None,
        yard_calls: vec![YardCall {
            place: PlaceIx(0),
            seconds: 900,
        }],
        calls_max: 3,
        progress: Progress::NotStarted,
    }
}

fn job(rng: &mut Rng, n: usize) -> (Job, Vec<f64>) {
    let method = |capability, gate_mm, slope_permille| Method {
        capability: Some(capability),
        gate_mm,
        slope_permille,
    };
    let one = |capability, gate, slope| Task {
        methods: vec![method(capability, gate, slope)],
    };
    let gate = (rng.random_range(0..5) == 0).then(|| rng.random_range(700..1_000));
    let slope = if rng.random_range(0..6) == 0 {
        rng.random_range(270..400)
    } else {
        rng.random_range(20..150)
    };
    let turf = [350.0, 500.0, 700.0, 900.0, 1_400.0, 2_500.0, 5_000.0][rng.random_range(0..7)];
    let (mut tasks, mut amounts) = (Vec::new(), Vec::new());
    let mut add = |task, amount| {
        tasks.push(task);
        amounts.push(amount);
    };
    let kind = rng.random_range(0..12);
    if kind == 0 {
        // Overgrown: knocked down by line head or rough mower first, mown after.
        add(
            Task {
                methods: vec![method(ROUGH, gate, slope), method(BRUSH, None, slope)],
            },
            turf * 0.4,
        );
        add(one(MOW, gate, slope), turf * 1.6);
    } else if kind == 1 {
        add(one(BRUSH, None, slope), rng.random_range(60.0..300.0));
    } else {
        add(one(EDGE, None, 100), rng.random_range(20.0..120.0));
        add(one(TRIM, None, slope), rng.random_range(60.0..250.0));
        add(one(MOW, gate, slope), turf);
    }
    add(one(BLOW, None, 100), rng.random_range(50.0..400.0));
    let school = n % 17 == 3;
    let promise = (n % 9 == 4).then(|| {
        let open = (8 + Seconds::from(n as u32) % 6) * HOUR;
        Promise {
            at: Meeting::Start,
            open,
            close: open + HOUR,
            hard: false,
        }
    });
    let windows = match rng.random_range(0..8) {
        0 => vec![Window {
            open: 7 * HOUR,
            close: 12 * HOUR,
        }],
        1 => vec![Window {
            open: 12 * HOUR,
            close: 18 * HOUR,
        }],
        2 => vec![
            Window {
                open: 7 * HOUR,
                close: 10 * HOUR,
            },
            Window {
                open: 14 * HOUR,
                close: 18 * HOUR,
            },
        ],
        _ => vec![Window {
            open: 6 * HOUR,
            close: 20 * HOUR,
        }],
    };
    let windows = if promise.is_some() {
        vec![Window {
            open: 6 * HOUR,
            close: 20 * HOUR,
        }]
    } else {
        windows
    };
    let deadline = kind == 0 && n.is_multiple_of(2);
    let job = Job {
        place: PlaceIx::from_ix(n + 1),
        windows,
        bound: Bound::Start,
        penalty: if deadline {
            60_000
        } else {
            rng.random_range(9_000..30_000)
        },
        due: deadline.then_some(Due {
            at: 13 * HOUR,
            cost_per_hour: 2_000,
        }),
        skills: if kind == 1 { vec![SAW_TICKET] } else { vec![] },
        crew_size_min: u8::from(turf > 4_000.0) * 2,
        crews: None,
        promise,
        quiet: if school {
            vec![Window {
                open: 0,
                close: 9 * HOUR + 1_800,
            }]
        } else {
            vec![]
        },
        fixed_seconds: 300 + u32::from(promise.is_some()) * 600,
        tasks,
        previous: None,
    };
    (job, amounts)
}

/// A day's problem.
pub fn problem(seed: u64, size: Size) -> Problem {
    let (parts, mut service) = parts(seed, size);
    match Problem::new(parts, &mut service) {
        Ok(problem) => problem,
        Err(faults) => panic!("{faults}"),
    }
}
