//! Jobs that cannot be.

use forenoon_proto::google::r#type::date_time::TimeOffset;
use forenoon_proto::v1::{CreateJobRequest, Job, Promise};
use forenoon_tests::actors::request_id;
use forenoon_tests::database::Database;
use forenoon_tests::make::{date, metres, moment, times};
use forenoon_tests::on_both;
use forenoon_tests::small_branch::{BRANCH, day, jobs};

use super::{Case, check, small_branch};

on_both!(faulty_jobs_are_refused);

/// In 2035 America/Chicago goes over to daylight time on March 11 at 2:00, and back on November 4 at 2:00: second
/// Sunday of March, first Sunday of November (15 U.S.C. 260a).
const CASES: &[Case<CreateJobRequest>] = &[
    Case::new("no name", &[("job.display_name", "REQUIRED")], |request| {
        of(request).display_name.clear();
    }),
    Case::new(
        "a note that is too long",
        &[("job.note", "TOO_LONG")],
        |request| {
            of(request).note = "n".repeat(2_001);
        },
    ),
    Case::new("no site", &[("job.site", "REQUIRED")], |request| {
        of(request).site.clear();
    }),
    Case::new(
        "a site that is not there",
        &[("job.site", "UNKNOWN_REFERENCE")],
        |request| {
            of(request).site = format!("{BRANCH}/sites/moon");
        },
    ),
    Case::new(
        "an area that is not there",
        &[("job.tasks[0].area_id", "UNKNOWN_REFERENCE")],
        |request| {
            of(request).tasks[0].area_id = "cellar".to_owned();
        },
    ),
    Case::new(
        "areas that are not there",
        &[("job.area_ids[0]", "UNKNOWN_REFERENCE")],
        |request| {
            of(request).area_ids = vec!["cellar".to_owned()];
        },
    ),
    Case::new("no window", &[("job.windows", "REQUIRED")], |request| {
        of(request).windows.clear();
    }),
    Case::new(
        "too many windows",
        &[("job.windows", "TOO_MANY")],
        |request| {
            let window = of(request).windows[0].clone();
            of(request).windows = vec![window; 21];
        },
    ),
    Case::new(
        "a window that ends before it starts",
        &[("job.windows[0].last_day", "END_BEFORE_START")],
        |request| {
            of(request).windows[0].last_day = Some(date(2035, 4, 16));
        },
    ),
    Case::new(
        "a date that is none",
        &[("job.windows[0].first_day", "OUT_OF_RANGE")],
        |request| {
            of(request).windows[0].first_day = Some(date(2035, 2, 29));
        },
    ),
    Case::new(
        "times that end first",
        &[("job.windows[0].times[0].end_time", "END_BEFORE_START")],
        |request| {
            of(request).windows[0].times = vec![times((13, 0), (12, 59))];
        },
    ),
    Case::new(
        "times that overlap",
        &[("job.windows[0].times[1]", "OVERLAP")],
        |request| {
            of(request).windows[0].times = vec![times((8, 0), (10, 0)), times((9, 0), (11, 0))];
        },
    ),
    Case::new(
        "a priority that is none",
        &[("job.priority", "OUT_OF_RANGE")],
        |request| {
            of(request).priority = 6;
        },
    ),
    Case::new(
        "a deadline that clocks jump over",
        &[("job.deadline", "NONEXISTENT_LOCAL_TIME")],
        |request| {
            of(request).deadline = Some(moment(date(2035, 3, 11), 2, 30));
        },
    ),
    Case::new(
        "a deadline that comes twice",
        &[("job.deadline", "AMBIGUOUS_LOCAL_TIME")],
        |request| {
            of(request).deadline = Some(moment(date(2035, 11, 4), 1, 30));
        },
    ),
    Case::new(
        "an offset that does not hold",
        &[("job.deadline", "CONFLICT")],
        |request| {
            let mut deadline = moment(date(2035, 11, 4), 1, 30);
            deadline.time_offset = Some(TimeOffset::UtcOffset(prost_types::Duration {
                seconds: -4 * 3600,
                nanos: 0,
            }));
            of(request).deadline = Some(deadline);
        },
    ),
    Case::new(
        "a promise that ends first",
        &[("job.promise.end_time", "END_BEFORE_START")],
        |request| {
            of(request).promise = Some(promise(10, 9));
        },
    ),
    Case::new(
        "a promise that clocks jump over",
        &[("job.promise.start_time", "NONEXISTENT_LOCAL_TIME")],
        |request| {
            of(request).promise = Some(Promise {
                start_time: Some(moment(date(2035, 3, 11), 2, 15)),
                end_time: Some(moment(date(2035, 3, 11), 9, 0)),
                ..promise(9, 10)
            });
        },
    ),
    Case::new(
        "a negative height",
        &[("job.condition.turf_height", "OUT_OF_RANGE")],
        |request| {
            of(request).condition.get_or_insert_default().turf_height = Some(metres(-0.1));
        },
    ),
    Case::new(
        "an absurd height",
        &[("job.condition.turf_height", "OUT_OF_RANGE")],
        |request| {
            of(request).condition.get_or_insert_default().turf_height = Some(metres(100.0));
        },
    ),
    Case::new(
        "a task of no kind",
        &[("job.tasks[0].kind", "REQUIRED")],
        |request| {
            of(request).tasks[0].kind = 0;
        },
    ),
    Case::new(
        "a task two days long",
        &[("job.tasks[0].agreed_minutes", "OUT_OF_RANGE")],
        |request| {
            of(request).tasks[0].agreed_minutes = 1_441.0;
        },
    ),
    Case::new(
        "too many passes",
        &[("job.tasks[0].passes", "OUT_OF_RANGE")],
        |request| {
            of(request).tasks[0].passes = 13;
        },
    ),
    Case::new(
        "two tasks of one id",
        &[("job.tasks[2].task_id", "DUPLICATE")],
        |request| {
            let again = of(request).tasks[0].clone();
            of(request).tasks.push(again);
        },
    ),
    Case::new(
        "a skill in capitals",
        &[("job.skills[0]", "MALFORMED")],
        |request| {
            of(request).skills = vec!["Chainsaw".to_owned()];
        },
    ),
];

fn of(request: &mut CreateJobRequest) -> &mut Job {
    request.job.as_mut().expect("a job")
}

fn promise(from_hour: i32, to_hour: i32) -> Promise {
    Promise {
        start_time: Some(moment(day(), from_hour, 0)),
        end_time: Some(moment(day(), to_hour, 0)),
        before_work: true,
        contact: None,
    }
}

async fn faulty_jobs_are_refused(database: Database) {
    let (_server, api) = small_branch(&database).await;
    let sound = CreateJobRequest {
        parent: BRANCH.to_owned(),
        job_id: "probe".to_owned(),
        job: Some(jobs().swap_remove(0)),
        request_id: request_id(),
    };
    check(&api, &sound, CASES, async |request| {
        api.jobs().create_job(request).await
    })
    .await;
}
