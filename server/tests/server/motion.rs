//! A branch on a working day: one lawn, a mower, two crews, three jobs, and a published plan.

use forenoon_proto::google::r#type::Date;
use forenoon_proto::v1;
use forenoon_proto::v1::case_service_client::CaseServiceClient;
use forenoon_proto::v1::plan_service_client::PlanServiceClient;
use forenoon_proto::v1::tag_out_service_client::TagOutServiceClient;
use forenoon_proto::v1::visit_service_client::VisitServiceClient;
use forenoon_store::entity::job;
use forenoon_store::sea_orm::{EntityTrait, Set};
use forenoon_store::value::JobState;
use prost_types::Timestamp;
use tonic::Status;
use tonic::transport::Channel;

use crate::house::House;
use crate::rows;
use crate::yard::{self, NORTH};

/// The plan that is published.
pub(crate) const PLAN: &str = "branches/north/plans/2027-04-20-1";
/// Jobs of the day: the first two are ash's, the third is birch's.
pub(crate) const JOBS: [&str; 3] = ["j-1", "j-2", "j-3"];

pub(crate) fn day() -> Date {
    Date {
        year: 2027,
        month: 4,
        day: 20,
    }
}

pub(crate) fn job_name(id: &str) -> String {
    format!("{NORTH}/jobs/{id}")
}

pub(crate) fn visits(house: &House) -> VisitServiceClient<Channel> {
    VisitServiceClient::new(house.channel())
}

pub(crate) fn plans(house: &House) -> PlanServiceClient<Channel> {
    PlanServiceClient::new(house.channel())
}

pub(crate) fn tag_outs(house: &House) -> TagOutServiceClient<Channel> {
    TagOutServiceClient::new(house.channel())
}

pub(crate) fn cases(house: &House) -> CaseServiceClient<Channel> {
    CaseServiceClient::new(house.channel())
}

/// An instant of the day, in UTC.
#[expect(clippy::unnecessary_wraps, reason = "a field of a message")]
pub(crate) fn at(time: &str) -> Option<Timestamp> {
    Some(
        format!("2027-04-20T{time}:00Z")
            .parse()
            .expect("an instant"),
    )
}

/// Writes the branch and publishes the plan of the day.
pub(crate) async fn furnish(house: &House) {
    yard::open(house).await;
    yard::add_site(house, "mill", yard::site())
        .await
        .expect("a site");
    yard::add_unit(house, "m-1", yard::mower("M-1"))
        .await
        .expect("a unit");
    for crew in ["ash", "birch"] {
        yard::add_crew(house, crew, yard::crew(crew))
            .await
            .expect("a crew");
    }
    yard::add_worker(house, "ada", yard::worker("Ada", &[]))
        .await
        .expect("a worker");
    for job in JOBS {
        rows::store(house, rows::job(job, "mill", "back-lawn", JobState::Open)).await;
    }
    plan_day(house, "2027-04-20").await;
}

/// Writes a plan for a day, the first of that day, and publishes it.
pub(crate) async fn plan_day(house: &House, day: &str) {
    rows::store(house, rows::plan(day)).await;
    let plan = format!("{day}-1");
    for crew in ["ash", "birch"] {
        rows::store(house, rows::crew_day(&plan, crew)).await;
    }
    rows::store(house, rows::aboard(&plan, "ash", "m-1")).await;
    for (job, crew, position) in [("j-1", "ash", 0), ("j-2", "ash", 1), ("j-3", "birch", 0)] {
        let mut stop = rows::stop(&plan, crew, job, "mill");
        stop.position = Set(position);
        if job == "j-1" {
            stop.tasks = Set(rows::mowing_with("m-1"));
        }
        rows::store(house, stop).await;
    }
    plans(house)
        .publish_plan(v1::PublishPlanRequest {
            name: format!("{NORTH}/plans/{plan}"),
            etag: String::new(),
            request_id: String::new(),
        })
        .await
        .expect("published");
}

/// What a crew reports of a job.
#[derive(Clone, Copy, Debug)]
pub(crate) enum Word {
    Depart,
    Arrive,
    Start,
    Pause,
    Resume,
    Finish,
    NotDone,
}

/// Reports a step.
pub(crate) async fn report(
    house: &House,
    crew: &str,
    job: &str,
    word: Word,
    time: Option<Timestamp>,
) -> Result<v1::Visit, Status> {
    let mut client = visits(house);
    let (job, crew) = (job_name(job), format!("{NORTH}/crews/{crew}"));
    let request_id = String::new();
    macro_rules! send {
        ($call:ident, $request:ident, $time:ident $(, $field:ident: $value:expr)*) => {
            client
                .$call(v1::$request {
                    job,
                    crew,
                    $time: time,
                    request_id,
                    $($field: $value,)*
                })
                .await?
                .into_inner()
                .visit
        };
    }
    let visit = match word {
        Word::Depart => send!(depart_for_job, DepartForJobRequest, event_time),
        Word::Arrive => send!(arrive_at_job, ArriveAtJobRequest, event_time),
        Word::Start => send!(start_job, StartJobRequest, start_time),
        Word::Pause => send!(pause_job, PauseJobRequest, event_time, reason: "rain".into()),
        Word::Resume => send!(resume_job, ResumeJobRequest, event_time),
        Word::Finish => send!(finish_job, FinishJobRequest, finish_time,
            task_actuals: vec![], bags: 2, note: String::new()),
        Word::NotDone => send!(report_not_done, ReportNotDoneRequest, event_time,
            reason: "gate locked".into(), task_actuals: vec![]),
    };
    Ok(visit.expect("a visit"))
}

/// Tags the mower out.
pub(crate) async fn tag_mower(house: &House) -> v1::TagOut {
    tag_outs(house)
        .tag_out(v1::TagOutRequest {
            parent: NORTH.into(),
            tag_out: Some(v1::TagOut {
                unit: format!("{NORTH}/units/m-1"),
                symptom: v1::Symptom::Leak.into(),
                severity: v1::Severity::Unsafe.into(),
                found_by: format!("{NORTH}/workers/ada"),
                ..v1::TagOut::default()
            }),
            request_id: String::new(),
        })
        .await
        .expect("tagged")
        .into_inner()
        .tag_out
        .expect("a tag")
}

/// Where a job stands.
pub(crate) async fn job_state(house: &House, job: &str) -> JobState {
    job::Entity::find_by_id(("north".to_owned(), job.to_owned()))
        .one(house.database.read())
        .await
        .expect("read")
        .expect("a job")
        .state
}

/// The kinds of the events after a number.
pub(crate) async fn kinds_after(house: &House, seq: usize) -> Vec<String> {
    house
        .events()
        .await
        .into_iter()
        .skip(seq)
        .map(|event| event.kind)
        .collect()
}

/// The code of the only obstacle, or of the only field at fault.
#[track_caller]
pub(crate) fn why<T: std::fmt::Debug>(outcome: Result<T, Status>) -> String {
    let status = outcome.expect_err("refused");
    match status.code() {
        tonic::Code::InvalidArgument => crate::house::faults(&status)
            .into_iter()
            .map(|(field, reason)| format!("{field} {reason}"))
            .collect::<Vec<_>>()
            .join(", "),
        _ => crate::house::reason(&status).1,
    }
}
