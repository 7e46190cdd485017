//! Goal: a crew or worker that cannot be is refused with every fault, and leaves nothing.
//! Method: tables of spoilt ones, each tried as a new one and as a change of a sound one.

use forenoon_proto::google::r#type::DayOfWeek;
use forenoon_proto::google::r#type::TimeOfDay;
use forenoon_proto::v1;
use prost_types::Duration;

use crate::house::House;
use crate::yard::{
    add_crew, add_worker, at, change_crew, change_worker, clock, crew, euros, open, read_crew,
    read_worker, refused_for, seconds, shift, worker,
};

type Faults = &'static [(&'static str, &'static str)];
type Spoilt<T> = (&'static str, fn(&mut T), Faults);

const CREWS: &[Spoilt<v1::Crew>] = &[
    (
        "no name",
        |crew| crew.display_name.clear(),
        &[("crew.display_name", "REQUIRED")],
    ),
    (
        "a name too long",
        |crew| crew.display_name = "n".repeat(201),
        &[("crew.display_name", "TOO_LONG")],
    ),
    (
        "shifts that overlap, each with the first it meets",
        |crew| {
            crew.shifts = vec![
                shift(DayOfWeek::Monday, (7, 0), (12, 0)),
                shift(DayOfWeek::Monday, (11, 59), (16, 0)),
                shift(DayOfWeek::Tuesday, (11, 0), (16, 0)),
                shift(DayOfWeek::Monday, (12, 0), (13, 0)),
                shift(DayOfWeek::Monday, (0, 0), (24, 0)),
                shift(DayOfWeek::Tuesday, (11, 0), (16, 0)),
            ];
        },
        &[
            ("crew.shifts[1]", "OVERLAP"),
            ("crew.shifts[3]", "OVERLAP"),
            ("crew.shifts[4]", "OVERLAP"),
            ("crew.shifts[5]", "OVERLAP"),
        ],
    ),
    (
        "shifts that end before they start, say not when, or are past the day",
        |crew| {
            crew.shifts = vec![
                shift(DayOfWeek::Monday, (16, 0), (7, 0)),
                shift(DayOfWeek::Tuesday, (7, 0), (7, 0)),
                v1::Shift::default(),
                shift(DayOfWeek::Friday, (7, 0), (24, 1)),
                v1::Shift {
                    start_time: Some(TimeOfDay {
                        hours: 7,
                        minutes: 60,
                        seconds: 0,
                        nanos: 0,
                    }),
                    end_time: clock(16, 0),
                    day: 8,
                },
            ];
        },
        &[
            ("crew.shifts[0].end_time", "END_BEFORE_START"),
            ("crew.shifts[1].end_time", "END_BEFORE_START"),
            ("crew.shifts[2].day", "REQUIRED"),
            ("crew.shifts[2].start_time", "REQUIRED"),
            ("crew.shifts[2].end_time", "REQUIRED"),
            ("crew.shifts[3].end_time", "OUT_OF_RANGE"),
            ("crew.shifts[4].day", "OUT_OF_RANGE"),
            ("crew.shifts[4].start_time", "OUT_OF_RANGE"),
        ],
    ),
    (
        "more shifts than there may be",
        |crew| {
            let day = |hour| shift(DayOfWeek::Monday, (hour % 24, 0), (hour % 24, 30));
            crew.shifts = (0..29).map(day).collect();
        },
        &[("crew.shifts", "TOO_MANY")],
    ),
    (
        "negative, and in fractions",
        |crew| {
            crew.overtime_allowed = seconds(-1);
            crew.break_length = Some(Duration {
                seconds: 60,
                nanos: 1,
            });
        },
        &[
            ("crew.overtime_allowed", "OUT_OF_RANGE"),
            ("crew.break_length", "OUT_OF_RANGE"),
        ],
    ),
    (
        "too much overtime and too long a break",
        |crew| {
            crew.overtime_allowed = seconds(8 * 3_600 + 1);
            crew.break_length = seconds(2 * 3_600 + 1);
        },
        &[
            ("crew.overtime_allowed", "OUT_OF_RANGE"),
            ("crew.break_length", "OUT_OF_RANGE"),
        ],
    ),
    (
        "a base at sea",
        |crew| crew.base = at(0.0, 0.0),
        &[("crew.base", "OUT_OF_RANGE")],
    ),
    (
        "a base nowhere",
        |crew| crew.base = at(f64::NAN, 181.0),
        &[
            ("crew.base.latitude", "OUT_OF_RANGE"),
            ("crew.base.longitude", "OUT_OF_RANGE"),
        ],
    ),
];

#[tokio::test]
async fn bad_crews_are_refused_with_every_fault_and_leave_nothing() {
    let house = House::on_sqlite().await;
    open(&house).await;
    let sound = add_crew(&house, "elm", crew("Elm")).await.expect("created");
    let before = house.counts().await;
    for (what, spoil, expected) in CREWS {
        let mut spoilt = sound.clone();
        spoil(&mut spoilt);
        let outcome = add_crew(&house, "spoilt", spoilt.clone()).await;
        refused_for(outcome, what, expected);
        refused_for(change_crew(&house, spoilt, &[]).await, what, expected);
        assert_eq!(house.counts().await, before, "{what}");
    }
    let read = read_crew(&house, &sound.name).await.expect("read");
    assert_eq!(read, sound);
}

const WORKERS: &[Spoilt<v1::Worker>] = &[
    (
        "no name",
        |worker| worker.display_name.clear(),
        &[("worker.display_name", "REQUIRED")],
    ),
    (
        "texts too long",
        |worker| {
            worker.display_name = "n".repeat(201);
            worker.phone = "5".repeat(41);
            worker.skills = vec!["s".repeat(64)];
        },
        &[
            ("worker.display_name", "TOO_LONG"),
            ("worker.phone", "TOO_LONG"),
            ("worker.skills[0]", "TOO_LONG"),
        ],
    ),
    (
        "roles there are not, and one twice",
        |worker| {
            let lead = v1::Role::CrewLead.into();
            worker.roles = vec![lead, 0, 9, lead];
        },
        &[
            ("worker.roles[1]", "REQUIRED"),
            ("worker.roles[2]", "OUT_OF_RANGE"),
            ("worker.roles[3]", "DUPLICATE"),
        ],
    ),
    (
        "skills of another spelling, and one twice",
        |worker| {
            let skills = ["ride-on", "Ride-on", "first aid", "", "ride-on"];
            worker.skills = skills.map(str::to_owned).to_vec();
        },
        &[
            ("worker.skills[1]", "MALFORMED"),
            ("worker.skills[2]", "MALFORMED"),
            ("worker.skills[3]", "REQUIRED"),
            ("worker.skills[4]", "DUPLICATE"),
        ],
    ),
    (
        "more skills than there may be",
        |worker| worker.skills = (0..51).map(|index| format!("skill-{index}")).collect(),
        &[("worker.skills", "TOO_MANY")],
    ),
    (
        "a cost in another currency",
        |worker| worker.cost_per_hour = euros(27),
        &[("worker.cost_per_hour", "OTHER_CURRENCY")],
    ),
    (
        "a negative cost",
        |worker| worker.cost_per_hour = crate::yard::dollars(-27),
        &[("worker.cost_per_hour", "OUT_OF_RANGE")],
    ),
    (
        "a cost beyond what plans reckon with",
        |worker| worker.cost_per_hour = crate::yard::dollars(1_000_001),
        &[("worker.cost_per_hour", "OUT_OF_RANGE")],
    ),
    (
        "a crew that is no crew",
        |worker| worker.crew = "branches/north/units/elm".into(),
        &[("worker.crew", "MALFORMED")],
    ),
];

#[tokio::test]
async fn bad_workers_are_refused_with_every_fault_and_leave_nothing() {
    let house = House::on_sqlite().await;
    open(&house).await;
    let sound = add_worker(&house, "ada", worker("Ada", &["ride-on"])).await;
    let sound = sound.expect("created");
    let before = house.counts().await;
    for (what, spoil, expected) in WORKERS {
        let mut spoilt = sound.clone();
        spoil(&mut spoilt);
        let outcome = add_worker(&house, "spoilt", spoilt.clone()).await;
        refused_for(outcome, what, expected);
        refused_for(change_worker(&house, spoilt, &[]).await, what, expected);
        assert_eq!(house.counts().await, before, "{what}");
    }
    let read = read_worker(&house, &sound.name).await.expect("read");
    assert_eq!(read, sound);
}
