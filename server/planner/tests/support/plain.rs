//! Plain parts of a problem, to be put together by hand where a test needs one certain day.

use forenoon_planner::index::*;
use forenoon_planner::problem::{
    Bound, Crew, Job, Method, Parts, Progress, Role, ServiceQuery, ServiceTime, Task, UnderWay,
    Unit, UnitClass, Weights, Window,
};
use forenoon_planner::travel::{Travel, Triangle};
use forenoon_planner::{Problem, Seconds};

pub const HOUR: Seconds = 3_600;
/// Each task takes so long with any tool, seconds.
pub const TASK_SECONDS: u32 = 1_800;
const ALL_DAY: Window = Window {
    open: 0,
    close: 24 * HOUR,
};

/// Places on a straight road, each by how many seconds it lies from the first; ten metres to a second.
pub fn road(at: &[Seconds]) -> Travel {
    let table = |scale: i64| -> Vec<Option<i64>> {
        let from = |a: &Seconds| {
            at.iter()
                .map(move |b| Some((a - b).abs() * scale))
                .collect()
        };
        at.iter()
            .flat_map(|a| -> Vec<_> { from(&a.clone()) })
            .collect()
    };
    let tolerance = Triangle::Refuse {
        tolerance_seconds: 0,
    };
    Travel::from_table(at.len(), &table(1), Some(&table(10)), tolerance).unwrap()
}

/// A tool that can do one thing and takes one unit of space.
pub fn class(capability: u32) -> UnitClass {
    UnitClass {
        role: Role::Whole,
        capabilities: vec![CapabilityIx(capability)],
        width_mm: 0,
        slope_max_permille: 1_000,
        space: 1,
        wear_per_hour: 0,
        noisy: false,
    }
}

pub fn unit(class: u32, home: u32) -> Unit {
    Unit {
        class: ClassIx(class),
        home: PlaceIx(home),
        available: vec![ALL_DAY],
    }
}

/// One person at the first place, for twelve hours from the origin on.
pub fn crew() -> Crew {
    Crew {
        day: 0,
        shift_start: 0,
        shift_end: 12 * HOUR,
        overtime_max: 0,
        start: PlaceIx(0),
        end: PlaceIx(0),
        skills: vec![],
        size: 1,
        pace_permille: 1_000,
        load_space: 10,
        wage_per_hour: 2_000,
        overtime_per_hour: 1_000,
        breaks: vec![],
        fair_load: None,
        exposure_limit: None,
        yard_calls: vec![],
        calls_max: 0,
        progress: Progress::NotStarted,
    }
}

/// A crew that is out since the origin, at the first place, with units aboard.
pub fn out_with(aboard: &[u32]) -> Progress {
    Progress::UnderWay(UnderWay {
        place: PlaceIx(0),
        ready_at: 0,
        aboard: aboard.iter().map(|unit| UnitIx(*unit)).collect(),
        frozen: vec![],
        breaks_taken: 0,
    })
}

/// Ten minutes without a tool, and a task for each capability.
pub fn job(place: u32, capabilities: &[u32]) -> Job {
    let task = |capability: &u32| Task {
        methods: vec![Method {
            capability: Some(CapabilityIx(*capability)),
            gate_mm: None,
            slope_permille: 0,
        }],
    };
    Job {
        place: PlaceIx(place),
        windows: vec![ALL_DAY],
        bound: Bound::Start,
        penalty: 1_000_000,
        due: None,
        skills: vec![],
        crew_size_min: 0,
        crews: None,
        promise: None,
        quiet: vec![],
        fixed_seconds: 600,
        tasks: capabilities.iter().map(task).collect(),
        previous: None,
    }
}

pub fn parts(
    travel: Travel,
    classes: Vec<UnitClass>,
    units: Vec<Unit>,
    crews: Vec<Crew>,
    jobs: Vec<Job>,
) -> Parts {
    Parts {
        travel,
        crews,
        classes,
        units,
        share_units: false,
        plan_meetings: false,
        jobs,
        weights: Weights::default(),
    }
}

/// The problem, in which each task takes as long as any other.
pub fn problem(parts: Parts) -> Problem {
    let mut service = |_: ServiceQuery| {
        Some(ServiceTime {
            seconds: TASK_SECONDS,
            bound_seconds: TASK_SECONDS,
            log_deviation_permille: 0,
            exposure: 0,
        })
    };
    Problem::new(parts, &mut service).unwrap()
}
