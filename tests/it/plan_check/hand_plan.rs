//! A plan of the small branch, made by hand with a map and a table of drives.
//!
//! Drives by haversine, 1.3 times at 40 km/h, and two minutes each, in seconds: yard to lot 522, lot to corner
//! 419, corner to court 662, court to yard 421; yard to alley 342, alley to bank 475, bank to school 589,
//! school to yard 417.

use forenoon_proto::v1::{
    CrewDay, Plan, PlanTotals, PlannedTask, Reason, ReasonKind, Stop, UnplannedJob,
};
use forenoon_tests::make::{instant, litres};
use forenoon_tests::small_branch::{ASH, BIRCH, branch, day, job_name, jobs, records, unit_name};
use prost_types::{Duration, Timestamp};

use super::world::World;

pub(super) fn world() -> World {
    World::new(branch(), records())
}

/// A stop in a few words: the job, its drive, when it begins and the units of its tasks in their order.
struct Visit {
    job: &'static str,
    drive: i64,
    arrive: (i32, i32, i32),
    start: (i32, i32, i32),
    units: &'static [&'static [&'static str]],
}

const ASH_VISITS: [Visit; 3] = [
    Visit {
        job: "lot-brush",
        drive: 522,
        arrive: (7, 8, 42),
        start: (7, 8, 42),
        units: &[&[], &["blade-a", "head-a"]],
    },
    Visit {
        job: "corner-edge",
        drive: 419,
        arrive: (8, 55, 41),
        start: (10, 0, 0),
        units: &[
            &["edger-a", "head-a"],
            &["line-b", "head-b"],
            &["ride-60"],
            &["blower-1"],
        ],
    },
    Visit {
        job: "court-mow",
        drive: 662,
        arrive: (11, 41, 2),
        start: (13, 0, 0),
        units: &[&["ride-60"], &["rake-1"]],
    },
];

const BIRCH_VISITS: [Visit; 3] = [
    Visit {
        job: "alley-mow",
        drive: 342,
        arrive: (7, 35, 42),
        start: (7, 35, 42),
        units: &[&["walk-21"]],
    },
    Visit {
        job: "bank-mow",
        drive: 475,
        arrive: (8, 23, 37),
        start: (8, 23, 37),
        units: &[&["walk-21"]],
    },
    Visit {
        job: "school-mow",
        drive: 589,
        arrive: (9, 18, 26),
        start: (9, 30, 0),
        units: &[&["walk-30"], &["blower-2"]],
    },
];

pub(super) fn hand_plan() -> Plan {
    Plan {
        day: Some(day()),
        crew_days: vec![
            CrewDay {
                crew: ASH.to_owned(),
                depart_time: Some(at((7, 0, 0))),
                return_time: Some(at((13, 57, 1))),
                load_out: names(&[
                    "head-a", "edger-a", "blade-a", "head-b", "line-b", "ride-60", "blower-1",
                    "rake-1",
                ]),
                load_taken: Some(litres(2_900.0)),
                load_space: Some(litres(10_000.0)),
                stops: ASH_VISITS.iter().map(stop).collect(),
                ..Default::default()
            },
            CrewDay {
                crew: BIRCH.to_owned(),
                depart_time: Some(at((7, 30, 0))),
                return_time: Some(at((10, 51, 57))),
                load_out: names(&["walk-21", "walk-30", "blower-2"]),
                load_taken: Some(litres(1_150.0)),
                load_space: Some(litres(4_500.0)),
                stops: BIRCH_VISITS.iter().map(stop).collect(),
                ..Default::default()
            },
        ],
        unplanned_jobs: vec![UnplannedJob {
            job: job_name("court-sod"),
            job_display_name: "Job court-sod".to_owned(),
            reasons: vec![Reason {
                kind: ReasonKind::NoCapability.into(),
                text: "No flat shovel in the branch.".to_owned(),
                subjects: Vec::new(),
            }],
            ..Default::default()
        }],
        totals: Some(PlanTotals {
            planned_jobs: 6,
            unplanned_jobs: 1,
            travel: Some(seconds(2_024 + 1_823)),
            work: Some(seconds(400 * 60)),
            ..Default::default()
        }),
        ..Default::default()
    }
}

fn stop(visit: &Visit) -> Stop {
    let job = jobs()
        .into_iter()
        .find(|job| job.name == job_name(visit.job))
        .expect("a job of the branch");
    let start = at(visit.start);
    #[expect(
        clippy::cast_possible_truncation,
        reason = "whole minutes, below a day"
    )]
    let tasks: Vec<PlannedTask> = job
        .tasks
        .iter()
        .zip(visit.units)
        .map(|(task, units)| PlannedTask {
            task_id: task.task_id.clone(),
            kind: task.kind,
            area_id: task.area_id.clone(),
            units: names(units),
            duration: Some(seconds((task.agreed_minutes * 60.0) as i64)),
        })
        .collect();
    let work: i64 = tasks
        .iter()
        .filter_map(|task| Some(task.duration.as_ref()?.seconds))
        .sum();
    Stop {
        job: job.name,
        site: job.site,
        arrive_time: Some(at(visit.arrive)),
        start_time: Some(start),
        finish_time: Some(instant(start.seconds + work)),
        drive: Some(seconds(visit.drive)),
        slack: Some(seconds(0)),
        tasks,
        ..Default::default()
    }
}

/// A time of that day in daylight time, five hours behind UTC.
fn at((hours, minutes, seconds): (i32, i32, i32)) -> Timestamp {
    // Midnight of 2035-04-17 in UTC.
    const MIDNIGHT: i64 = 2_060_380_800;
    let since = i64::from((hours + 5) * 3600 + minutes * 60 + seconds);
    instant(MIDNIGHT + since)
}

fn seconds(value: i64) -> Duration {
    Duration {
        seconds: value,
        nanos: 0,
    }
}

fn names(ids: &[&str]) -> Vec<String> {
    ids.iter().map(|id| unit_name(id)).collect()
}
