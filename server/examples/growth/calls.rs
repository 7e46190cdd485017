//! What is asked of a branch all day long.

use chrono::NaiveDate;
use forenoon_proto::google::r#type::Date;
use forenoon_proto::v1;
use forenoon_proto::v1::bench_service_client::BenchServiceClient;
use forenoon_proto::v1::case_service_client::CaseServiceClient;
use forenoon_proto::v1::day_service_client::DayServiceClient;
use forenoon_proto::v1::job_service_client::JobServiceClient;
use forenoon_proto::v1::plan_service_client::PlanServiceClient;
use forenoon_proto::v1::tag_out_service_client::TagOutServiceClient;
use forenoon_proto::v1::visit_service_client::VisitServiceClient;
use tonic::transport::Channel;

use crate::yard::{ID, JOBS, day, next_day};

/// The calls that are measured.
pub(crate) const CALLS: &[&str] = &[
    "GetPublishedPlan",
    "ListCrewSheets",
    "ListVisits",
    "WatchDay, snapshot",
    "ListPlans, newest",
    "ListPlans of a day",
    "ListJobs, open",
    "ListJobs of a day",
    "ListJobs, first page",
    "EstimateJob",
    "PlanDay, one iteration",
    "ProposeReplan",
    "PublishPlan",
    "TagOut",
    "ListTagOuts, open",
    "ListCases, open",
    "ListBenchQueue",
    "GetUnitHistory",
    "DownloadPhoto",
];

fn parent() -> String {
    format!("branches/{ID}")
}

fn name(collection: &str, id: impl std::fmt::Display) -> String {
    format!("branches/{ID}/{collection}/{id}")
}

fn date(day: NaiveDate) -> Option<Date> {
    use chrono::Datelike;
    Some(Date {
        year: day.year(),
        month: i32::try_from(day.month()).ok()?,
        day: i32::try_from(day.day()).ok()?,
    })
}

/// Plans a day.
async fn plan(channel: &Channel, day: NaiveDate) -> v1::Plan {
    let request = v1::PlanDayRequest {
        parent: parent(),
        day: date(day),
        seed: 1,
        iterations: 50,
        ..Default::default()
    };
    let plan = PlanServiceClient::new(channel.clone())
        .plan_day(request)
        .await;
    plan.expect("planned").into_inner().plan.expect("a plan")
}

/// Plans a day and publishes the plan.
pub(crate) async fn publish(channel: &Channel, day: NaiveDate) -> v1::Plan {
    let plan = plan(channel, day).await;
    let request = v1::PublishPlanRequest {
        name: plan.name.clone(),
        ..Default::default()
    };
    let mut plans = PlanServiceClient::new(channel.clone());
    plans.publish_plan(request).await.expect("published");
    plan
}

/// Works a plan: every planned job is begun and done.
pub(crate) async fn work(channel: &Channel, plan: &v1::Plan) {
    let mut visits = VisitServiceClient::new(channel.clone());
    let mut done = 0;
    for crew in &plan.crew_days {
        for stop in &crew.stops {
            let request = v1::StartJobRequest {
                job: stop.job.clone(),
                crew: crew.crew.clone(),
                start_time: stop.start_time,
                ..Default::default()
            };
            visits.start_job(request).await.expect("begun");
            let request = v1::FinishJobRequest {
                job: stop.job.clone(),
                crew: crew.crew.clone(),
                finish_time: stop.start_time.map(|mut time| {
                    time.seconds += 1_500;
                    time
                }),
                task_actuals: vec![v1::TaskActual {
                    task_id: "mow".into(),
                    duration: Some(prost_types::Duration {
                        seconds: 1_500,
                        nanos: 0,
                    }),
                    units: crew
                        .load_out
                        .iter()
                        .filter(|unit| unit.contains("/units/mower-"))
                        .take(1)
                        .cloned()
                        .collect(),
                }],
                ..Default::default()
            };
            visits.finish_job(request).await.expect("done");
            done += 1;
        }
    }
    assert!(done > JOBS / 2, "{done} jobs are no day");
    println!("a day of {done} jobs");
}

/// What a call needs that is not of it: the draft that is published, by its name.
pub(crate) async fn prepare(channel: &Channel, call: &str) -> String {
    if call == "PublishPlan" {
        plan(channel, next_day()).await.name
    } else {
        String::new()
    }
}

/// Makes a call once.
#[expect(clippy::too_many_lines, reason = "one list of calls")]
pub(crate) async fn make(channel: &Channel, call: &str, round: usize, draft: String) {
    let channel = channel.clone();
    let plan = format!("{}/plans/{}-1", parent(), day());
    match call {
        "GetPublishedPlan" => {
            let request = v1::GetPublishedPlanRequest {
                parent: parent(),
                day: date(day()),
            };
            let mut plans = PlanServiceClient::new(channel);
            plans.get_published_plan(request).await.map(drop)
        }
        "ListCrewSheets" => {
            let request = v1::ListCrewSheetsRequest {
                plan,
                crew: String::new(),
            };
            let mut plans = PlanServiceClient::new(channel);
            plans.list_crew_sheets(request).await.map(drop)
        }
        "ListVisits" => {
            let request = v1::ListVisitsRequest { plan };
            let mut visits = VisitServiceClient::new(channel);
            visits.list_visits(request).await.map(drop)
        }
        "WatchDay, snapshot" => {
            let request = v1::WatchDayRequest {
                parent: parent(),
                day: date(day()),
                ..Default::default()
            };
            let watching = DayServiceClient::new(channel).watch_day(request).await;
            let mut stream = watching.expect("a stream").into_inner();
            stream.message().await.map(drop)
        }
        "ListPlans, newest" | "ListPlans of a day" => {
            let request = v1::ListPlansRequest {
                parent: parent(),
                page_size: 50,
                day: if call == "ListPlans of a day" {
                    date(day())
                } else {
                    None
                },
                ..Default::default()
            };
            let mut plans = PlanServiceClient::new(channel);
            plans.list_plans(request).await.map(drop)
        }
        "ListJobs, open" | "ListJobs of a day" | "ListJobs, first page" => {
            let state = if call == "ListJobs, open" {
                v1::JobState::Open
            } else {
                v1::JobState::Unspecified
            };
            let request = v1::ListJobsRequest {
                parent: parent(),
                page_size: 50,
                state: state.into(),
                day: if call == "ListJobs of a day" {
                    date(day())
                } else {
                    None
                },
                ..Default::default()
            };
            let mut jobs = JobServiceClient::new(channel);
            jobs.list_jobs(request).await.map(drop)
        }
        "EstimateJob" => {
            let request = v1::EstimateJobRequest {
                parent: parent(),
                job: Some(v1::Job {
                    name: name("jobs", "next-001"),
                    ..Default::default()
                }),
                ..Default::default()
            };
            let mut jobs = JobServiceClient::new(channel);
            jobs.estimate_job(request).await.map(drop)
        }
        "PlanDay, one iteration" => {
            let request = v1::PlanDayRequest {
                parent: parent(),
                day: date(next_day()),
                seed: 1,
                iterations: 1,
                ..Default::default()
            };
            let mut plans = PlanServiceClient::new(channel);
            plans.plan_day(request).await.map(drop)
        }
        "ProposeReplan" => {
            let absent = v1::disruption::Disruption::AbsentCrew(name("crews", "crew-7"));
            let request = v1::ProposeReplanRequest {
                parent: parent(),
                day: date(next_day()),
                seed: 1,
                disruptions: vec![v1::Disruption {
                    disruption: Some(absent),
                }],
                ..Default::default()
            };
            let mut plans = PlanServiceClient::new(channel);
            plans.propose_replan(request).await.map(drop)
        }
        "PublishPlan" => {
            let request = v1::PublishPlanRequest {
                name: draft,
                ..Default::default()
            };
            let mut plans = PlanServiceClient::new(channel);
            plans.publish_plan(request).await.map(drop)
        }
        "TagOut" => tag_out(channel, round).await,
        "ListTagOuts, open" => {
            let request = v1::ListTagOutsRequest {
                parent: parent(),
                page_size: 50,
                open_only: true,
                ..Default::default()
            };
            let mut tags = TagOutServiceClient::new(channel);
            tags.list_tag_outs(request).await.map(drop)
        }
        "ListCases, open" => {
            let request = v1::ListCasesRequest {
                parent: parent(),
                page_size: 50,
                open_only: true,
                ..Default::default()
            };
            let mut cases = CaseServiceClient::new(channel);
            cases.list_cases(request).await.map(drop)
        }
        "ListBenchQueue" => {
            let request = v1::ListBenchQueueRequest { parent: parent() };
            let mut bench = BenchServiceClient::new(channel);
            bench.list_bench_queue(request).await.map(drop)
        }
        "GetUnitHistory" => {
            let request = v1::GetUnitHistoryRequest {
                unit: name("units", "mower-7"),
            };
            let mut bench = BenchServiceClient::new(channel);
            bench.get_unit_history(request).await.map(drop)
        }
        "DownloadPhoto" => {
            let request = v1::DownloadPhotoRequest {
                parent: parent(),
                sha256: format!("{:064}", 50 + round),
            };
            let answer = VisitServiceClient::new(channel)
                .download_photo(request)
                .await;
            let mut stream = answer.expect("a stream").into_inner();
            stream.message().await.map(drop)
        }
        other => unreachable!("{other} is no call"),
    }
    .expect(call);
}

/// A mower that is on no plan of the day.
async fn tag_out(channel: Channel, round: usize) -> Result<(), tonic::Status> {
    let request = v1::TagOutRequest {
        parent: parent(),
        tag_out: Some(v1::TagOut {
            unit: name("units", format!("blower-{round}")),
            symptom: v1::Symptom::Vibration.into(),
            severity: v1::Severity::Unsafe.into(),
            found_by: name("workers", "lead-1"),
            ..Default::default()
        }),
        ..Default::default()
    };
    let mut tags = TagOutServiceClient::new(channel);
    tags.tag_out(request).await.map(drop)
}
