//! Goal: a job that cannot be is refused with every fault, and leaves nothing.
//! Method: one table of spoilt jobs, each tried as a new one and as a change of a sound one.

use forenoon_proto::google::r#type::Date;
use forenoon_proto::v1;
use forenoon_proto::v1::length::Value as Long;
use tonic::Code;

use crate::booking::{
    JOB, add_job, change_job, day, job, job_client, open_with_site, read_job, task, wall, window,
};
use crate::house::House;
use crate::yard::{NORTH, clock, euros, length, refused_for};

type Spoil = fn(&mut v1::Job);
type Faults = &'static [(&'static str, &'static str)];

fn condition(job: &mut v1::Job) -> &mut v1::SiteCondition {
    job.condition.get_or_insert_default()
}

fn promise(job: &mut v1::Job) -> &mut v1::Promise {
    job.promise.get_or_insert_default()
}

fn times(from: (i32, i32), to: (i32, i32)) -> v1::DayTimeWindow {
    v1::DayTimeWindow {
        start_time: clock(from.0, from.1),
        end_time: clock(to.0, to.1),
    }
}

const SPOILT: &[(&str, Spoil, Faults)] = &[
    (
        "nothing said",
        |job| {
            *job = v1::Job {
                name: JOB.into(),
                ..v1::Job::default()
            }
        },
        &[
            ("job.display_name", "REQUIRED"),
            ("job.site", "REQUIRED"),
            ("job.windows", "REQUIRED"),
        ],
    ),
    (
        "texts too long",
        |job| {
            job.display_name = "n".repeat(201);
            job.deadline_source = "n".repeat(201);
            job.note = "n".repeat(2_001);
            promise(job).contact = Some(v1::Contact {
                display_name: "n".repeat(201),
                ..v1::Contact::default()
            });
        },
        &[
            ("job.display_name", "TOO_LONG"),
            ("job.deadline_source", "TOO_LONG"),
            ("job.note", "TOO_LONG"),
            ("job.promise.contact.display_name", "TOO_LONG"),
        ],
    ),
    (
        "a site that is not there",
        |job| job.site = "branches/north/sites/none".into(),
        &[("job.site", "UNKNOWN_REFERENCE")],
    ),
    (
        "a site of another branch",
        |job| job.site = "branches/south/sites/mill-lane".into(),
        &[("job.site", "UNKNOWN_REFERENCE")],
    ),
    (
        "no name of a site",
        |job| job.site = "mill-lane".into(),
        &[("job.site", "MALFORMED")],
    ),
    (
        "areas the site does not have",
        |job| {
            job.area_ids[1] = "front".into();
            job.tasks[2].area_id = "front".into();
        },
        &[
            ("job.area_ids[1]", "UNKNOWN_REFERENCE"),
            ("job.tasks[2].area_id", "UNKNOWN_REFERENCE"),
        ],
    ),
    (
        "areas named twice and wrongly",
        |job| job.area_ids = ["walk", "walk", "The Walk"].map(str::to_owned).to_vec(),
        &[
            ("job.area_ids[1]", "DUPLICATE"),
            ("job.area_ids[2]", "MALFORMED"),
        ],
    ),
    (
        "tasks with one id, none and another form",
        |job| {
            job.tasks[1].task_id = "look".into();
            job.tasks[2].task_id.clear();
            job.tasks
                .push(task("Mow 2", v1::TaskKind::WalkAfter, "", &[]));
        },
        &[
            ("job.tasks[1].task_id", "DUPLICATE"),
            ("job.tasks[2].task_id", "REQUIRED"),
            ("job.tasks[3].task_id", "MALFORMED"),
        ],
    ),
    (
        "work that is none",
        |job| {
            job.tasks[0].kind = 0;
            job.tasks[1].kind = 99;
        },
        &[
            ("job.tasks[0].kind", "REQUIRED"),
            ("job.tasks[1].kind", "OUT_OF_RANGE"),
        ],
    ),
    (
        "tools that do not do the work",
        |job| {
            job.tasks[0].capabilities = vec![v1::Capability::Blower.into()];
            job.tasks[1].capabilities.clear();
            job.tasks[2].capabilities = vec![
                v1::Capability::Mower.into(),
                v1::Capability::Carrier.into(),
                v1::Capability::Mower.into(),
                0,
            ];
            let trim = [v1::Capability::BladeHead, v1::Capability::LineHead];
            job.tasks
                .push(task("trim", v1::TaskKind::Trim, "back-lawn", &trim));
        },
        &[
            ("job.tasks[0].capabilities[0]", "CONFLICT"),
            ("job.tasks[1].capabilities", "REQUIRED"),
            ("job.tasks[2].capabilities[2]", "DUPLICATE"),
            ("job.tasks[2].capabilities[3]", "REQUIRED"),
            ("job.tasks[3].capabilities[0]", "CONFLICT"),
        ],
    ),
    (
        "a carrier that mows",
        |job| job.tasks[2].capabilities = vec![v1::Capability::Carrier.into()],
        &[("job.tasks[2].capabilities[0]", "CONFLICT")],
    ),
    (
        "edges without a length",
        |job| {
            job.tasks[1].area_id = "back-lawn".into();
            job.tasks[2] = task("e", v1::TaskKind::Edge, "", &[v1::Capability::Edger]);
        },
        &[
            ("job.tasks[1].area_id", "CONFLICT"),
            ("job.tasks[2].area_id", "REQUIRED"),
        ],
    ),
    (
        "passes and minutes out of bounds",
        |job| {
            job.tasks[0].passes = -1;
            job.tasks[0].agreed_minutes = -1.0;
            job.tasks[1].passes = 13;
            job.tasks[1].agreed_minutes = 1_440.5;
            job.tasks[2].agreed_minutes = f64::NAN;
        },
        &[
            ("job.tasks[0].passes", "OUT_OF_RANGE"),
            ("job.tasks[0].agreed_minutes", "OUT_OF_RANGE"),
            ("job.tasks[1].passes", "OUT_OF_RANGE"),
            ("job.tasks[1].agreed_minutes", "OUT_OF_RANGE"),
            ("job.tasks[2].agreed_minutes", "OUT_OF_RANGE"),
        ],
    ),
    (
        "too many of everything",
        |job| {
            let walk = |n: i32| task(&format!("t{n}"), v1::TaskKind::WalkBefore, "", &[]);
            job.tasks = (0..101).map(walk).collect();
            job.windows = vec![window(day(4, 20), day(4, 22)); 21];
            job.skills = (0..51).map(|n| format!("s{n}")).collect();
        },
        &[
            ("job.tasks", "TOO_MANY"),
            ("job.windows", "TOO_MANY"),
            ("job.skills", "TOO_MANY"),
        ],
    ),
    (
        "an absurd condition",
        |job| {
            condition(job).turf_height = length(Long::Feet(14.0));
            condition(job).set_height = length(Long::Millimetres(4.0));
            condition(job).turf_density = 7;
            condition(job).edge_overgrowth = length(Long::Inches(-1.0));
            condition(job).stem_thickness = Some(v1::Length { value: None });
        },
        &[
            ("job.condition.turf_height", "OUT_OF_RANGE"),
            ("job.condition.set_height", "OUT_OF_RANGE"),
            ("job.condition.turf_density", "OUT_OF_RANGE"),
            ("job.condition.edge_overgrowth", "OUT_OF_RANGE"),
            ("job.condition.stem_thickness", "REQUIRED"),
        ],
    ),
    (
        "windows that end before they start, or never were",
        |job| {
            job.promise = None;
            job.windows = vec![
                window(day(4, 22), day(4, 21)),
                window(day(2, 29), day(4, 31)),
                v1::VisitWindow::default(),
            ];
        },
        &[
            ("job.windows[0].last_day", "END_BEFORE_START"),
            ("job.windows[1].first_day", "OUT_OF_RANGE"),
            ("job.windows[1].last_day", "OUT_OF_RANGE"),
            ("job.windows[2].first_day", "REQUIRED"),
            ("job.windows[2].last_day", "REQUIRED"),
        ],
    ),
    (
        "times that overlap, end early or never are",
        |job| {
            job.windows[0].times = vec![
                times((8, 0), (12, 0)),
                times((11, 59), (13, 0)),
                times((9, 0), (9, 0)),
                times((14, 0), (24, 1)),
                v1::DayTimeWindow::default(),
            ];
        },
        &[
            ("job.windows[0].times[1]", "OVERLAP"),
            ("job.windows[0].times[2].end_time", "END_BEFORE_START"),
            ("job.windows[0].times[3].end_time", "OUT_OF_RANGE"),
            ("job.windows[0].times[4].start_time", "REQUIRED"),
            ("job.windows[0].times[4].end_time", "REQUIRED"),
        ],
    ),
    (
        "nine times a day",
        |job| {
            let hour = |hour: i32| times((hour, 0), (hour, 30));
            job.windows[0].times = (6..15).map(hour).collect();
        },
        &[("job.windows[0].times", "TOO_MANY")],
    ),
    (
        "a priority there is not",
        |job| job.priority = 6,
        &[("job.priority", "OUT_OF_RANGE")],
    ),
    (
        "a deadline that clocks jump over",
        |job| job.deadline = wall(day(3, 14), 2, 30, None),
        &[("job.deadline", "NONEXISTENT_LOCAL_TIME")],
    ),
    (
        "a deadline that comes twice",
        |job| job.deadline = wall(day(11, 7), 1, 30, None),
        &[("job.deadline", "AMBIGUOUS_LOCAL_TIME")],
    ),
    (
        "an offset that does not hold",
        |job| job.deadline = wall(day(4, 30), 17, 0, Some(-6)),
        &[("job.deadline", "CONFLICT")],
    ),
    (
        "no date",
        |job| job.deadline = wall(Date::default(), 17, 0, None),
        &[("job.deadline", "OUT_OF_RANGE")],
    ),
    (
        "a promise with no end and a start that clocks jump over",
        |job| {
            promise(job).start_time = wall(day(3, 14), 2, 30, None);
            promise(job).end_time = None;
        },
        &[
            ("job.promise.start_time", "NONEXISTENT_LOCAL_TIME"),
            ("job.promise.end_time", "REQUIRED"),
        ],
    ),
    (
        "a promise that ends when it starts",
        |job| promise(job).end_time = wall(day(4, 21), 9, 30, None),
        &[("job.promise.end_time", "END_BEFORE_START")],
    ),
    (
        "a promise over midnight",
        |job| promise(job).end_time = wall(day(4, 22), 0, 30, None),
        &[("job.promise.end_time", "CONFLICT")],
    ),
    (
        "a promise on a day without a window",
        |job| {
            promise(job).start_time = wall(day(4, 24), 9, 0, None);
            promise(job).end_time = wall(day(4, 24), 10, 0, None);
        },
        &[("job.promise.start_time", "CONFLICT")],
    ),
    (
        "skills of another form",
        |job| {
            job.skills = ["chainsaw", "chainsaw", "Climbing"]
                .map(str::to_owned)
                .to_vec();
        },
        &[
            ("job.skills[1]", "DUPLICATE"),
            ("job.skills[2]", "MALFORMED"),
        ],
    ),
    (
        "other money",
        |job| job.price = euros(70),
        &[("job.price", "OTHER_CURRENCY")],
    ),
];

#[tokio::test]
async fn bad_jobs_are_refused_with_every_fault_and_leave_nothing() {
    let house = House::on_sqlite().await;
    open_with_site(&house).await;
    let sound = add_job(&house, "mow", job()).await.expect("created");
    let before = house.counts().await;
    for (what, spoil, expected) in SPOILT {
        let mut spoilt = sound.clone();
        spoil(&mut spoilt);
        refused_for(
            add_job(&house, "spoilt", spoilt.clone()).await,
            what,
            expected,
        );
        refused_for(change_job(&house, spoilt, &[]).await, what, expected);
        assert_eq!(house.counts().await, before, "{what}");
    }
    assert_eq!(read_job(&house, JOB).await.expect("read"), sound);
    let spoilt = read_job(&house, "branches/north/jobs/spoilt").await;
    assert_eq!(
        spoilt.expect_err("was never created").code(),
        Code::NotFound
    );
}

#[tokio::test]
async fn the_request_itself_is_checked_too() {
    let house = House::on_sqlite().await;
    open_with_site(&house).await;
    let before = house.counts().await;
    let request = v1::CreateJobRequest {
        parent: NORTH.into(),
        job_id: "1".into(),
        job: None,
        request_id: "x".into(),
    };
    refused_for(
        job_client(&house).create_job(request).await,
        "every part",
        &[
            ("job_id", "MALFORMED"),
            ("job", "REQUIRED"),
            ("request_id", "MALFORMED"),
        ],
    );
    refused_for(
        job_client(&house)
            .update_job(v1::UpdateJobRequest::default())
            .await,
        "nothing",
        &[("job", "REQUIRED"), ("job.name", "REQUIRED")],
    );
    assert_eq!(house.counts().await, before);
}
