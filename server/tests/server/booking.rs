//! Jobs of the branch, through the service.

use forenoon_proto::google::r#type::{Date, DateTime, date_time::TimeOffset};
use forenoon_proto::v1;
use forenoon_proto::v1::job_service_client::JobServiceClient;
use prost_types::{Duration, FieldMask};
use tonic::Status;
use tonic::transport::Channel;

use crate::house::House;
use crate::yard::{NORTH, add_site, clock, dollars, length, open, site};

pub(crate) const JOB: &str = "branches/north/jobs/mow";
pub(crate) const SITE: &str = "branches/north/sites/mill-lane";

pub(crate) fn job_client(house: &House) -> JobServiceClient<Channel> {
    JobServiceClient::new(house.channel())
}

/// Opens branch `north` with site `mill-lane`.
pub(crate) async fn open_with_site(house: &House) {
    open(house).await;
    add_site(house, "mill-lane", site()).await.expect("created");
}

pub(crate) fn day(month: i32, day: i32) -> Date {
    Date {
        year: 2027,
        month,
        day,
    }
}

/// A moment of 2027 on the wall clock, with its offset from UTC in hours where one is given.
#[expect(clippy::unnecessary_wraps, reason = "a field of a message")]
pub(crate) fn wall(date: Date, hours: i32, minutes: i32, offset: Option<i64>) -> Option<DateTime> {
    Some(DateTime {
        year: date.year,
        month: date.month,
        day: date.day,
        hours,
        minutes,
        time_offset: offset.map(|hours| {
            TimeOffset::UtcOffset(Duration {
                seconds: hours * 3_600,
                nanos: 0,
            })
        }),
        ..DateTime::default()
    })
}

pub(crate) fn window(first: Date, last: Date) -> v1::VisitWindow {
    v1::VisitWindow {
        first_day: Some(first),
        last_day: Some(last),
        times: vec![],
    }
}

pub(crate) fn task(id: &str, kind: v1::TaskKind, area: &str, with: &[v1::Capability]) -> v1::Task {
    v1::Task {
        task_id: id.into(),
        kind: kind.into(),
        area_id: area.into(),
        capabilities: with.iter().map(|&one| one.into()).collect(),
        passes: 1,
        agreed_minutes: 0.0,
    }
}

/// A job with every field, as it reads back.
pub(crate) fn job() -> v1::Job {
    use v1::length::Value as Long;
    v1::Job {
        display_name: "Weekly mow".into(),
        site: SITE.into(),
        tasks: vec![
            task("look", v1::TaskKind::WalkBefore, "", &[]),
            v1::Task {
                agreed_minutes: 12.5,
                ..task("edge", v1::TaskKind::Edge, "walk", &[v1::Capability::Edger])
            },
            v1::Task {
                passes: 2,
                ..task(
                    "mow",
                    v1::TaskKind::Mow,
                    "back-lawn",
                    &[v1::Capability::Mower, v1::Capability::CollectingMower],
                )
            },
        ],
        area_ids: vec!["back-lawn".into(), "walk".into()],
        condition: Some(v1::SiteCondition {
            turf_height: length(Long::Inches(4.5)),
            set_height: length(Long::Inches(3.0)),
            turf_density: v1::TurfDensity::Thick.into(),
            wet: true,
            edge_overgrowth: length(Long::Inches(1.0)),
            stem_thickness: length(Long::Inches(0.1)),
            heavy_debris: true,
            first_service: true,
        }),
        windows: vec![
            v1::VisitWindow {
                times: vec![
                    v1::DayTimeWindow {
                        start_time: clock(8, 0),
                        end_time: clock(12, 0),
                    },
                    v1::DayTimeWindow {
                        start_time: clock(12, 0),
                        end_time: clock(24, 0),
                    },
                ],
                ..window(day(4, 20), day(4, 22))
            },
            window(day(4, 26), day(4, 26)),
        ],
        priority: 4,
        deadline: wall(day(4, 30), 17, 0, Some(-5)),
        deadline_source: "county notice".into(),
        promise: Some(v1::Promise {
            start_time: wall(day(4, 21), 9, 30, Some(-5)),
            end_time: wall(day(4, 21), 10, 0, Some(-5)),
            before_work: true,
            contact: Some(v1::Contact {
                display_name: "Orla".into(),
                phone: "555-0104".into(),
                email: String::new(),
            }),
        }),
        skills: vec!["chainsaw".into()],
        price: dollars(70),
        note: "Mind the roses.\nGate at the back.".into(),
        ..v1::Job::default()
    }
}

/// A job that says only what it must; its tasks are composed.
pub(crate) fn bare(first: Date, last: Date) -> v1::Job {
    v1::Job {
        display_name: "Mow".into(),
        site: SITE.into(),
        windows: vec![window(first, last)],
        ..v1::Job::default()
    }
}

pub(crate) async fn add_job(house: &House, id: &str, job: v1::Job) -> Result<v1::Job, Status> {
    let request = v1::CreateJobRequest {
        parent: NORTH.into(),
        job_id: id.into(),
        job: Some(job),
        request_id: String::new(),
    };
    let response = job_client(house).create_job(request).await?.into_inner();
    Ok(response.job.expect("the one created"))
}

pub(crate) async fn read_job(house: &House, name: &str) -> Result<v1::Job, Status> {
    let request = v1::GetJobRequest { name: name.into() };
    let response = job_client(house).get_job(request).await?.into_inner();
    Ok(response.job.expect("the one asked for"))
}

pub(crate) async fn change_job(
    house: &House,
    job: v1::Job,
    paths: &[&str],
) -> Result<v1::Job, Status> {
    let request = v1::UpdateJobRequest {
        job: Some(job),
        update_mask: (!paths.is_empty()).then(|| FieldMask {
            paths: paths.iter().map(|&path| path.to_owned()).collect(),
        }),
        request_id: String::new(),
    };
    let response = job_client(house).update_job(request).await?.into_inner();
    Ok(response.job.expect("the one changed"))
}

pub(crate) async fn remove_job(house: &House, name: &str, etag: &str) -> Result<(), Status> {
    let request = v1::DeleteJobRequest {
        name: name.into(),
        etag: etag.into(),
        request_id: String::new(),
    };
    job_client(house).delete_job(request).await.map(|_| ())
}

pub(crate) async fn cancel_job(house: &House, reason: &str, etag: &str) -> Result<v1::Job, Status> {
    let request = v1::CancelJobRequest {
        name: JOB.into(),
        reason: reason.into(),
        etag: etag.into(),
        request_id: String::new(),
    };
    let response = job_client(house).cancel_job(request).await?.into_inner();
    Ok(response.job.expect("the one called off"))
}
