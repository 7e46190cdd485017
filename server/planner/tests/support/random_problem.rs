//! Small random problems over all kinds of constraints.

use forenoon_planner::index::*;
use forenoon_planner::problem::{
    Bound, Break, Crew, Due, FrozenStop, Job, Meeting, Method, Parts, Previous, Progress, Promise,
    Role, ServiceQuery, ServiceTime, Task, Tool, UnderWay, Unit, UnitClass, Weights, Window,
    YardCall,
};
use forenoon_planner::travel::{HourPace, Travel, Triangle};
use forenoon_planner::{Problem, Seconds};
use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus as Rng;

const HOUR: Seconds = 3_600;

/// What a random problem may contain.
#[derive(Debug, Clone, Copy)]
pub struct Kinds {
    pub jobs_max: usize,
    pub crews_max: usize,
    pub units_max: usize,
    pub under_way: bool,
    pub yard_calls: bool,
    /// Several calls in a day, at any yard.
    pub many_calls: bool,
    /// Units that one crew may use after another.
    pub share: bool,
    /// Crews may meet on the road to hand units over.
    pub meet: bool,
    pub pace: bool,
    pub breaks: bool,
    pub days: bool,
    /// Units of many classes rather than any.
    pub mixed_units: bool,
}

impl Kinds {
    pub const ALL: Self = Self {
        jobs_max: 14,
        crews_max: 4,
        units_max: 10,
        under_way: true,
        yard_calls: true,
        many_calls: false,
        share: false,
        meet: false,
        pace: true,
        breaks: true,
        days: true,
        mixed_units: false,
    };
    /// Several crews, and few units that one may use after another.
    pub const SHARED: Self = Self {
        many_calls: true,
        share: true,
        meet: false,
        mixed_units: true,
        jobs_max: 10,
        units_max: 5,
        ..Self::ALL
    };
    /// The same, with crews that may meet on the road.
    pub const MEETING: Self = Self {
        meet: true,
        ..Self::SHARED
    };
    /// What the exact model covers.
    pub const EXACT: Self = Self {
        jobs_max: 8,
        crews_max: 3,
        units_max: 6,
        under_way: true,
        yard_calls: true,
        many_calls: false,
        share: false,
        meet: false,
        pace: true,
        breaks: true,
        days: true,
        mixed_units: false,
    };
}

fn chance(rng: &mut Rng, percent: u32) -> bool {
    rng.random_range(0..100) < percent
}

/// The service table: a number from the query, the same for every run.
pub fn service(query: ServiceQuery) -> Option<ServiceTime> {
    let mut hash = u64::from(query.job.0) * 31 + query.task as u64 * 7 + query.method as u64 * 3;
    let class = match query.tool {
        Tool::Hand => 17,
        Tool::Whole(class) => u64::from(class.0) + 1,
        Tool::Pair {
            attachment,
            powerhead,
        } => u64::from(attachment.0) * 5 + u64::from(powerhead.0) * 11 + 2,
    };
    hash = hash
        .wrapping_mul(0x9E37_79B9_7F4A_7C15)
        .wrapping_add(class * 0x85EB_CA6B);
    hash ^= hash >> 29;
    let minutes = 6 + hash % 50;
    let seconds = minutes * 60 * 2 / (1 + u64::from(query.crew_size));
    let seconds = u32::try_from(seconds).ok()?;
    Some(ServiceTime {
        seconds,
        // The exact model knows nothing of waits for tools.
        bound_seconds: seconds,
        log_deviation_permille: 150 + u16::try_from(hash % 200).ok()?,
        exposure: u32::try_from(minutes).ok()?,
    })
}

fn classes(rng: &mut Rng) -> Vec<UnitClass> {
    let capability = |n| vec![CapabilityIx(n)];
    let coupling = CouplingIx(0);
    let class = |role, capabilities, width_mm, slope, space, wear, noisy| UnitClass {
        role,
        capabilities,
        width_mm,
        slope_max_permille: slope,
        space,
        wear_per_hour: wear,
        noisy,
    };
    vec![
        class(Role::Whole, capability(0), 1_300, 250, 6, 400, true),
        class(
            Role::Whole,
            capability(0),
            560,
            350,
            2,
            150,
            chance(rng, 50),
        ),
        class(Role::Powerhead { coupling }, vec![], 0, 900, 1, 80, true),
        class(
            Role::Attachment { coupling },
            capability(1),
            0,
            900,
            1,
            40,
            false,
        ),
        class(
            Role::Attachment { coupling },
            capability(2),
            300,
            600,
            1,
            60,
            false,
        ),
        class(
            Role::Whole,
            vec![CapabilityIx(2), CapabilityIx(1)],
            0,
            700,
            2,
            200,
            chance(rng, 50),
        ),
        class(
            Role::Attachment {
                coupling: CouplingIx(1),
            },
            capability(3),
            0,
            700,
            1,
            30,
            false,
        ),
        class(Role::Whole, capability(3), 0, 1_000, 1, 20, true),
    ]
}

fn travel(rng: &mut Rng, places: usize, far: usize, pace: bool) -> Travel {
    let mut points: Vec<(f64, f64)> = (0..places)
        .map(|_| {
            (
                rng.random_range(0.0..15_000.0),
                rng.random_range(0.0..15_000.0),
            )
        })
        .collect();
    for yard in &mut points[..far] {
        yard.0 += 25_000.0;
    }
    let table = |scale: f64| -> Vec<Option<i64>> {
        let mut table = Vec::new();
        for a in &points {
            for b in &points {
                let metres = ((a.0 - b.0).powi(2) + (a.1 - b.1).powi(2)).sqrt();
                table.push(Some((metres * scale) as i64));
            }
        }
        table
    };
    let travel = Travel::from_table(
        places,
        &table(0.08),
        Some(&table(1.3)),
        Triangle::Refuse {
            tolerance_seconds: 2,
        },
    )
    .unwrap();
    if pace && chance(rng, 30) {
        let mut permille = [1_000; 24];
        for (hour, pace) in permille.iter_mut().enumerate() {
            *pace = match hour % 24 {
                7 | 8 | 16 | 17 => 700,
                11..=14 => 900,
                _ => 1_000,
            };
        }
        travel.with_pace(HourPace::new(permille).unwrap())
    } else {
        travel
    }
}

fn crew(rng: &mut Rng, day: u16, kinds: Kinds, yards: u32) -> Crew {
    let begin = Seconds::from(day) * 24 * HOUR;
    let start = begin + rng.random_range(6..9) * HOUR;
    let end = start + rng.random_range(4..9) * HOUR;
    let yard = PlaceIx(rng.random_range(0..yards));
    let mut breaks = Vec::new();
    if kinds.breaks && chance(rng, 40) {
        let earliest = start + rng.random_range(2..4) * HOUR;
        let latest = earliest + rng.random_range(40..120) * 60;
        breaks.push(Break {
            earliest,
            latest,
            seconds: rng.random_range(10..45) * 60,
        });
        if chance(rng, 20) {
            let earliest = latest + 3 * HOUR;
            breaks.push(Break {
                earliest,
                latest: earliest + HOUR,
                seconds: 900,
            });
        }
    }
    Crew {
        day,
        shift_start: start,
        shift_end: end,
        overtime_max: rng.random_range(0..3) * 1_800,
        start: yard,
        end: if chance(rng, 90) { yard } else { PlaceIx(0) },
        skills: (0..3).filter(|_| chance(rng, 70)).map(SkillIx).collect(),
        size: rng.random_range(1..4),
        pace_permille: 1_000,
        load_space: rng.random_range(3..12),
        wage_per_hour: rng.random_range(2_000..6_000),
        overtime_per_hour: rng.random_range(1_000..3_000),
        breaks,
        fair_load: chance(rng, 20).then_some(5 * HOUR),
        exposure_limit: chance(rng, 20).then_some(100),
        yard_calls: yard_calls(rng, kinds, yards),
        calls_max: match (kinds.many_calls, kinds.share) {
            (true, false) => 3,
            (true, true) => 2,
            (false, _) => 1,
        },
        progress: Progress::NotStarted,
    }
}

fn yard_calls(rng: &mut Rng, kinds: Kinds, yards: u32) -> Vec<YardCall> {
    let mut calls = Vec::new();
    if kinds.many_calls {
        for yard in 0..yards {
            if chance(rng, 80) {
                calls.push(YardCall {
                    place: PlaceIx(yard),
                    seconds: rng.random_range(2..10) * 60,
                });
            }
        }
    } else if kinds.yard_calls && chance(rng, 40) {
        calls.push(YardCall {
            place: PlaceIx(0),
            seconds: 600,
        });
    }
    calls
}

fn unit(rng: &mut Rng, classes: usize, days: u16, yards: u32) -> Unit {
    let until = (Seconds::from(days) + 1) * 24 * HOUR;
    let available = match rng.random_range(0..10) {
        0 => vec![],
        1 => vec![Window {
            open: 10 * HOUR,
            close: until,
        }],
        2 => vec![Window {
            open: 0,
            close: 13 * HOUR,
        }],
        3 => vec![
            Window {
                open: 0,
                close: 9 * HOUR,
            },
            Window {
                open: 12 * HOUR,
                close: until,
            },
        ],
        _ => vec![Window {
            open: 0,
            close: until,
        }],
    };
    Unit {
        class: ClassIx(rng.random_range(0..classes as u32)),
        home: PlaceIx(rng.random_range(0..yards)),
        available,
    }
}

fn units(
    rng: &mut Rng,
    count: usize,
    classes: usize,
    days: u16,
    yards: u32,
    mixed: bool,
) -> Vec<Unit> {
    let first = rng.random_range(0..classes);
    (0..count)
        .map(|n| {
            let mut unit = unit(rng, classes, days, yards);
            if mixed {
                // Three steps apart, so that powerheads, attachments and mowers alternate.
                unit.class = ClassIx::from_ix((first + 3 * n) % classes);
            }
            unit
        })
        .collect()
}

fn task(rng: &mut Rng) -> Task {
    let method = |rng: &mut Rng, capability| Method {
        capability,
        gate_mm: chance(rng, 20).then_some(900),
        slope_permille: if chance(rng, 20) { 300 } else { 80 },
    };
    let methods = match rng.random_range(0..8) {
        0..3 => vec![method(rng, Some(CapabilityIx(0)))],
        3 => vec![
            method(rng, Some(CapabilityIx(1))),
            method(rng, Some(CapabilityIx(2))),
        ],
        4 => vec![method(rng, Some(CapabilityIx(2)))],
        5 => vec![method(rng, Some(CapabilityIx(3)))],
        6 => vec![method(rng, Some(CapabilityIx(1))), method(rng, None)],
        _ => vec![method(rng, None)],
    };
    Task { methods }
}

fn job(rng: &mut Rng, places: u32, yards: u32, days: u16, crews: usize) -> Job {
    let mut windows = Vec::new();
    for day in 0..days {
        let begin = Seconds::from(day) * 24 * HOUR;
        match rng.random_range(0..6) {
            0 => {
                let open = begin + rng.random_range(7..12) * HOUR;
                windows.push(Window {
                    open,
                    close: open + rng.random_range(1..4) * HOUR,
                });
            }
            1 => {
                windows.push(Window {
                    open: begin + 7 * HOUR,
                    close: begin + 9 * HOUR,
                });
                windows.push(Window {
                    open: begin + 12 * HOUR,
                    close: begin + 15 * HOUR,
                });
            }
            _ => windows.push(Window {
                open: begin + 5 * HOUR,
                close: begin + 20 * HOUR,
            }),
        }
    }
    let promise = chance(rng, 20).then(|| {
        let open = windows[0].open + rng.random_range(0..2) * HOUR / 2;
        let minutes = rng.random_range(20..100);
        Promise {
            at: if minutes % 2 == 0 {
                Meeting::Start
            } else {
                Meeting::Finish
            },
            open,
            close: open + minutes * 60,
            hard: chance(rng, 30),
        }
    });
    let quiet = if chance(rng, 20) {
        vec![
            Window {
                open: 0,
                close: 9 * HOUR,
            },
            Window {
                open: 12 * HOUR,
                close: 13 * HOUR,
            },
        ]
    } else {
        vec![]
    };
    let day = Seconds::from(rng.random_range(0..days)) * 24 * HOUR;
    Job {
        place: PlaceIx(rng.random_range(yards..places)),
        windows,
        bound: if chance(rng, 50) {
            Bound::Start
        } else {
            Bound::Whole
        },
        penalty: rng.random_range(2_000..40_000),
        due: chance(rng, 30).then(|| Due {
            at: rng.random_range(8..16) * HOUR,
            cost_per_hour: rng.random_range(100..4_000),
        }),
        skills: (0..3).filter(|_| chance(rng, 10)).map(SkillIx).collect(),
        crew_size_min: if chance(rng, 10) { 2 } else { 0 },
        crews: chance(rng, 5).then(|| vec![CrewIx(rng.random_range(0..crews as u32))]),
        promise,
        quiet,
        fixed_seconds: rng.random_range(2..15) * 60,
        tasks: (0..rng.random_range(1..4)).map(|_| task(rng)).collect(),
        previous: chance(rng, 20).then(|| {
            let crew = CrewIx(rng.random_range(0..crews as u32));
            let start = day + rng.random_range(8..14) * HOUR;
            Previous {
                crew,
                start,
                finish: start + HOUR,
            }
        }),
    }
}

/// Little room on the vehicles, long days and dear jobs: calls at the yard pay.
fn tighten(parts: &mut Parts) {
    for crew in &mut parts.crews {
        crew.load_space = 1 + crew.load_space % 3;
        crew.shift_end += 3 * HOUR;
    }
    for job in &mut parts.jobs {
        job.penalty += 20_000;
    }
}

/// Short days of which one begins after the other, and dear jobs: a unit is worth having twice.
fn stagger(parts: &mut Parts) {
    for (n, crew) in parts.crews.iter_mut().enumerate() {
        let apart = if parts.plan_meetings {
            HOUR / 2
        } else {
            2 * HOUR
        };
        let later = Seconds::try_from(n).unwrap_or(0) * apart;
        crew.shift_start += later;
        crew.shift_end = crew.shift_start + 5 * HOUR;
        for rest in &mut crew.breaks {
            rest.earliest += later;
            rest.latest += later;
        }
    }
    for job in &mut parts.jobs {
        job.penalty += 20_000;
    }
}

/// Gives most jobs to one crew each, so that a tool has to come to where it is wanted.
fn part_jobs(parts: &mut Parts) {
    let crews = parts.crews.len();
    for (n, job) in parts.jobs.iter_mut().enumerate() {
        if n % 4 != 3 {
            job.crews = Some(vec![CrewIx::from_ix(n % crews)]);
            job.skills.clear();
            job.crew_size_min = 1;
        }
    }
}

/// Puts one crew on its way.
fn set_out(rng: &mut Rng, parts: &mut Parts) {
    let ix = rng.random_range(0..parts.crews.len());
    let ready_at = parts.crews[ix].shift_start + rng.random_range(60..200) * 60;
    let mut space = parts.crews[ix].load_space;
    let mut aboard = Vec::new();
    for (unit_ix, unit) in parts.units.iter().enumerate() {
        let class = &parts.classes[unit.class.ix()];
        if unit
            .available
            .iter()
            .any(|window| window.covers(ready_at, ready_at))
            && class.space <= space
            && chance(rng, 50)
        {
            space -= class.space;
            aboard.push(UnitIx(unit_ix as u32));
        }
    }
    let mut frozen = Vec::new();
    if parts.jobs.len() > 2 {
        let start = parts.crews[ix].shift_start + 1_200;
        frozen.push(FrozenStop {
            job: JobIx(0),
            arrival: start,
            start,
            finish: ready_at,
            units: aboard.clone(),
        });
    }
    let place = frozen
        .first()
        .map_or(parts.crews[ix].start, |_| parts.jobs[0].place);
    parts.crews[ix].progress = Progress::UnderWay(UnderWay {
        place,
        ready_at,
        aboard,
        frozen,
        breaks_taken: 0,
    });
}

/// The parts of a random problem.
pub fn parts(seed: u64, kinds: Kinds) -> Parts {
    let rng = &mut Rng::seed_from_u64(seed);
    let days = if kinds.days && chance(rng, 20) { 2 } else { 1 };
    // Where crews are to meet, there is somebody to be met and something to be done.
    let least = if kinds.meet {
        (kinds.crews_max.min(2), kinds.jobs_max.min(3))
    } else {
        (1, 1)
    };
    let crew_count = rng.random_range(least.0..=kinds.crews_max);
    let job_count = rng.random_range(least.1..=kinds.jobs_max);
    let unit_count = rng.random_range(1..=kinds.units_max);
    let yards = if chance(rng, 20) { 2 } else { 1 };
    let places = yards + job_count as u32;
    // Where nobody likes to call at the yard, crews meet.
    let far = if kinds.meet { yards } else { 0 };
    let classes = classes(rng);
    let mut parts = Parts {
        travel: travel(rng, places as usize, far as usize, kinds.pace),
        crews: (0..crew_count)
            .map(|n| crew(rng, n as u16 % days, kinds, yards))
            .collect(),
        units: units(
            rng,
            unit_count,
            classes.len(),
            days,
            yards,
            kinds.mixed_units,
        ),
        share_units: kinds.share,
        plan_meetings: kinds.meet,
        classes,
        jobs: (0..job_count)
            .map(|_| job(rng, places, yards, days, crew_count))
            .collect(),
        weights: Weights::default(),
    };
    if kinds.meet {
        part_jobs(&mut parts);
    }
    if kinds.share {
        stagger(&mut parts);
    } else if kinds.many_calls {
        tighten(&mut parts);
    }
    if kinds.under_way && chance(rng, 25) {
        set_out(rng, &mut parts);
    }
    parts
}

/// A random problem.
pub fn problem(seed: u64, kinds: Kinds) -> Problem {
    match Problem::new(parts(seed, kinds), &mut service) {
        Ok(problem) => problem,
        Err(faults) => panic!("seed {seed}: {faults}"),
    }
}
