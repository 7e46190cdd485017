//! A small day, fixed to the minute: two crews out, one in, two jobs without a stop, one tag.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use forenoon_proto::google::r#type::{Date, TimeOfDay};
use forenoon_proto::v1::{
    Contact, CrewDay, CrewSheet, Hazard, Job, Plan, PlanState, PlanTotals, PlannedTask, Promise,
    Reason, ReasonKind, Severity, SheetStop, SheetUnit, Stop, Symptom, TagOut, TagOutState,
    TaskKind, UnplannedJob, Visit, VisitState, Volume, volume,
};
use prost_types::{Duration, Timestamp};

use super::clock::Clock;
use crate::parse::clock::date_time;

pub(super) const CLOCK: Clock = Clock {
    zone: chrono_tz::America::Chicago,
};

/// A time on the branch's clock on 20 April 2027, five hours behind UTC.
#[expect(clippy::unnecessary_wraps, reason = "fields of messages are optional")]
pub(super) fn at(hm: &str) -> Option<Timestamp> {
    let (hours, minutes) = hm.split_once(':').unwrap();
    let hours: u32 = hours.parse().unwrap();
    Some(
        format!("2027-04-20T{:02}:{minutes}:00Z", hours + 5)
            .parse()
            .unwrap(),
    )
}

#[expect(clippy::unnecessary_wraps, reason = "fields of messages are optional")]
pub(super) fn minutes(minutes: i64) -> Option<Duration> {
    Some(Duration {
        seconds: minutes * 60,
        nanos: 0,
    })
}

/// The day itself.
pub(super) fn today() -> NaiveDate {
    NaiveDate::from_ymd_opt(2027, 4, 20).unwrap()
}

fn name(collection: &str, id: &str) -> String {
    format!("branches/north/{collection}/{id}")
}

fn stop(job: &str, site: &str, times: [&str; 3], drive: i64, kinds: &[TaskKind]) -> Stop {
    Stop {
        job: name("jobs", job),
        site: name("sites", &site.to_lowercase().replace(' ', "-")),
        site_display_name: site.into(),
        arrive_time: at(times[0]),
        start_time: at(times[1]),
        finish_time: at(times[2]),
        drive: minutes(drive),
        slack: minutes(65),
        tasks: kinds
            .iter()
            .map(|kind| PlannedTask {
                kind: (*kind).into(),
                units: vec![name("units", "m-36")],
                ..PlannedTask::default()
            })
            .collect(),
        ..Stop::default()
    }
}

pub(super) fn plan() -> Plan {
    use TaskKind::{BlowOff, CutBrush, Edge, KnockDown, Mow, WalkBefore};
    Plan {
        name: name("plans", "2027-04-20-2"),
        day: Some(Date {
            year: 2027,
            month: 4,
            day: 20,
        }),
        revision: 2,
        state: PlanState::Published.into(),
        publish_time: at("5:41"),
        crew_days: vec![
            CrewDay {
                crew: name("crews", "bluestem"),
                crew_display_name: "Bluestem".into(),
                depart_time: at("6:50"),
                return_time: at("11:10"),
                load_out: vec![name("units", "m-36"), name("units", "p-1")],
                load_taken: Some(Volume {
                    value: Some(volume::Value::CubicFeet(180.0)),
                }),
                load_space: Some(Volume {
                    value: Some(volume::Value::CubicFeet(500.0)),
                }),
                stops: vec![
                    stop(
                        "j-alder",
                        "Alder house",
                        ["7:05", "7:05", "8:00"],
                        15,
                        &[Edge, Mow, BlowOff],
                    ),
                    stop(
                        "j-weld",
                        "Weld lot",
                        ["8:15", "8:30", "10:55"],
                        15,
                        &[WalkBefore, KnockDown, CutBrush, Mow, Mow],
                    ),
                ],
                overtime: minutes(20),
                ..CrewDay::default()
            },
            CrewDay {
                crew: name("crews", "sedge"),
                crew_display_name: "Sedge".into(),
                depart_time: at("7:00"),
                return_time: at("9:00"),
                stops: vec![stop(
                    "j-school",
                    "Hill school",
                    ["7:20", "7:20", "8:45"],
                    20,
                    &[Mow],
                )],
                ..CrewDay::default()
            },
            CrewDay {
                crew: name("crews", "reed"),
                crew_display_name: "Reed".into(),
                ..CrewDay::default()
            },
        ],
        unplanned_jobs: vec![
            UnplannedJob {
                job: name("jobs", "j-notice"),
                job_display_name: "County notice, Mill lane".into(),
                reasons: vec![Reason {
                    kind: ReasonKind::UnitTaggedOut.into(),
                    text: "needs a blade head; b-2 is tagged out since 08:12".into(),
                    subjects: vec![name("units", "b-2")],
                }],
                ..UnplannedJob::default()
            },
            UnplannedJob {
                job: name("jobs", "j-later"),
                job_display_name: "Weekly mowing, Elm court".into(),
                reasons: vec![Reason {
                    kind: ReasonKind::ShiftFull.into(),
                    text: "no crew has 50 minutes left".into(),
                    subjects: Vec::new(),
                }],
                ..UnplannedJob::default()
            },
        ],
        totals: Some(PlanTotals {
            planned_jobs: 3,
            unplanned_jobs: 2,
            travel: minutes(80),
            work: minutes(285),
            waiting: minutes(15),
            overtime: minutes(20),
            cost_points: 4200,
        }),
        ..Plan::default()
    }
}

pub(super) fn jobs() -> BTreeMap<String, Job> {
    let job = |id: &str, priority| Job {
        name: name("jobs", id),
        display_name: id.into(),
        priority,
        ..Job::default()
    };
    let jobs = [
        Job {
            display_name: "Weekly mowing".into(),
            promise: Some(Promise {
                start_time: date_time("2027-04-20 07:30").ok(),
                end_time: date_time("2027-04-20 08:15").ok(),
                contact: Some(Contact {
                    display_name: "Mrs Finch".into(),
                    ..Contact::default()
                }),
                ..Promise::default()
            }),
            ..job("j-alder", 3)
        },
        Job {
            display_name: "First cut".into(),
            deadline: date_time("2027-04-20 12:00").ok(),
            deadline_source: "county notice".into(),
            ..job("j-weld", 5)
        },
        job("j-school", 3),
        Job {
            deadline: date_time("2027-04-20 17:00").ok(),
            ..job("j-notice", 4)
        },
        job("j-later", 2),
    ];
    jobs.into_iter()
        .map(|job| (job.name.clone(), job))
        .collect()
}

pub(super) fn tags() -> Vec<TagOut> {
    vec![TagOut {
        name: name("tagOuts", "t-7"),
        unit: name("units", "b-2"),
        unit_display_name: "Blade head 2".into(),
        symptom: Symptom::CuttingPart.into(),
        severity: Severity::Unsafe.into(),
        state: TagOutState::WaitingForParts.into(),
        create_time: at("8:12"),
        expected_return_time: at("14:00"),
        ..TagOut::default()
    }]
}

pub(super) fn visits() -> Vec<Visit> {
    vec![
        Visit {
            job: name("jobs", "j-alder"),
            crew: name("crews", "bluestem"),
            start_time: at("7:06"),
            finish_time: at("7:58"),
            state: VisitState::Done.into(),
            attempt: 1,
            ..Visit::default()
        },
        Visit {
            job: name("jobs", "j-weld"),
            crew: name("crews", "bluestem"),
            start_time: at("8:30"),
            state: VisitState::Working.into(),
            attempt: 1,
            ..Visit::default()
        },
    ]
}

pub(super) fn sheet() -> CrewSheet {
    let unit = |display: &str, serial: &str, limit: &str| SheetUnit {
        unit: name("units", "u"),
        display_name: display.into(),
        serial_number: serial.into(),
        limit: limit.into(),
    };
    CrewSheet {
        plan: plan().name,
        crew_day: plan().crew_days.into_iter().next(),
        worker_display_names: vec!["Ada Reed".into(), "Bo Lane".into()],
        units: vec![
            unit("Walk mower 36", "WM-8812", ""),
            unit("Powerhead 1", "PH-0031", ""),
            unit(
                "Walk mower 21",
                "WM-1177",
                "no tall grass until the belt is replaced",
            ),
        ],
        stops: vec![
            SheetStop {
                job: name("jobs", "j-alder"),
                job_display_name: "Weekly mowing".into(),
                address: "12 Alder Lane, Larkmoor".into(),
                work_lines: vec![
                    "Edge the front walk, 120 ft".into(),
                    "Mow the back lawn".into(),
                    "Blow off".into(),
                ],
                hazards: vec![Hazard {
                    description: "Steel pipe sticks out of the turf by the west gate".into(),
                    area_id: "back".into(),
                    ..Hazard::default()
                }],
                clippings: "may lie".into(),
                access_note: "Gate code 4411; close it, the dog is out after nine".into(),
                meeting: "Mrs Finch after the work, 07:30 to 08:15".into(),
                contact: Some(Contact {
                    display_name: "Mrs Finch".into(),
                    phone: "555-0100".into(),
                    ..Contact::default()
                }),
                cautions: vec!["Keep people away from the discharge side.".into()],
                quiet_until: Some(TimeOfDay {
                    hours: 7,
                    ..TimeOfDay::default()
                }),
                ..SheetStop::default()
            },
            SheetStop {
                job: name("jobs", "j-weld"),
                job_display_name: "First cut".into(),
                address: "Weld lot, Mill Road, Larkmoor".into(),
                work_lines: vec![
                    "Walk the site for debris".into(),
                    "Knock down with powerhead 1".into(),
                ],
                clippings: "take away".into(),
                deadline: "12:00 today, county notice".into(),
                cautions: vec![
                    "Keep people away from the discharge side.".into(),
                    "Blade work: face shield, nobody within 50 feet.".into(),
                ],
                ..SheetStop::default()
            },
        ],
        cautions: vec!["Eye and hearing protection for all engine work.".into()],
    }
}
