//! Who calls: dispatcher, mechanic and crew lead of the mowing yard.

use chrono::{Datelike, NaiveDate};
use forenoon_proto::google::r#type::Date;
use forenoon_proto::v1;
use forenoon_proto::v1::bench_service_client::BenchServiceClient;
use forenoon_proto::v1::plan_service_client::PlanServiceClient;
use forenoon_proto::v1::tag_out_service_client::TagOutServiceClient;
use forenoon_proto::v1::visit_service_client::VisitServiceClient;
use prost_types::Timestamp;
use tonic::Request;
use tonic::transport::Channel;

use crate::house::House;
use crate::mowing_yard::{BRANCH, name};

pub(crate) fn asking<T>(message: T) -> Request<T> {
    let mut request = Request::new(message);
    request
        .metadata_mut()
        .insert("forenoon-actor", "dispatcher".parse().expect("a name"));
    request
}

pub(crate) fn date(day: NaiveDate) -> Date {
    Date {
        year: day.year(),
        month: i32::try_from(day.month()).expect("a month"),
        day: i32::try_from(day.day()).expect("a day"),
    }
}

/// What the actors call.
#[derive(Clone)]
pub(crate) struct Api {
    pub(crate) plans: PlanServiceClient<Channel>,
    pub(crate) tags: TagOutServiceClient<Channel>,
    pub(crate) visits: VisitServiceClient<Channel>,
    pub(crate) bench: BenchServiceClient<Channel>,
}

impl Api {
    pub(crate) fn of(house: &House) -> Self {
        Self {
            plans: PlanServiceClient::new(house.channel()),
            tags: TagOutServiceClient::new(house.channel()),
            visits: VisitServiceClient::new(house.channel()),
            bench: BenchServiceClient::new(house.channel()),
        }
    }

    pub(crate) async fn plan(
        &mut self,
        day: NaiveDate,
        iterations: i64,
    ) -> Result<v1::Plan, tonic::Status> {
        let request = v1::PlanDayRequest {
            parent: BRANCH.into(),
            day: Some(date(day)),
            seed: 1,
            iterations,
            ..Default::default()
        };
        let answer = self.plans.plan_day(asking(request)).await?;
        Ok(answer.into_inner().plan.expect("a plan"))
    }

    pub(crate) async fn publish(&mut self, plan: String) -> Result<(), tonic::Status> {
        let request = v1::PublishPlanRequest {
            name: plan,
            ..Default::default()
        };
        self.plans.publish_plan(asking(request)).await.map(drop)
    }

    pub(crate) async fn discard(&mut self, plan: String) -> Result<(), tonic::Status> {
        let request = v1::DiscardPlanRequest {
            name: plan,
            ..Default::default()
        };
        self.plans.discard_plan(asking(request)).await.map(drop)
    }

    pub(crate) async fn propose(
        &mut self,
        day: NaiveDate,
        iterations: i64,
    ) -> Result<Vec<v1::Proposal>, tonic::Status> {
        let request = v1::ProposeReplanRequest {
            parent: BRANCH.into(),
            day: Some(date(day)),
            cause: "a machine broke".into(),
            seed: 1,
            iterations,
            ..Default::default()
        };
        let answer = self.plans.propose_replan(asking(request)).await?;
        Ok(answer.into_inner().proposals)
    }

    pub(crate) async fn accept(&mut self, plan: String) -> Result<v1::Plan, tonic::Status> {
        let request = v1::AcceptProposalRequest {
            name: plan,
            ..Default::default()
        };
        let answer = self.plans.accept_proposal(asking(request)).await?;
        Ok(answer.into_inner().plan.expect("a plan"))
    }

    pub(crate) async fn tag(&mut self, unit: &str) -> Result<v1::TagOut, tonic::Status> {
        let request = v1::TagOutRequest {
            parent: BRANCH.into(),
            tag_out: Some(v1::TagOut {
                unit: name("units", unit),
                symptom: v1::Symptom::Vibration.into(),
                severity: v1::Severity::Unsafe.into(),
                found_by: name("workers", "lead-ash"),
                ..Default::default()
            }),
            ..Default::default()
        };
        let answer = self.tags.tag_out(asking(request)).await?;
        Ok(answer.into_inner().tag_out.expect("a tag"))
    }

    /// The bench's whole way from tag to release.
    pub(crate) async fn mend(&mut self, tag: &str) -> Result<(), tonic::Status> {
        let mechanic = name("workers", "moss");
        let request = v1::RecordDiagnosisRequest {
            name: tag.into(),
            mechanic: mechanic.clone(),
            diagnosis: "bent blade".into(),
            ..Default::default()
        };
        self.tags.record_diagnosis(asking(request)).await?;
        let request = v1::RecordRepairRequest {
            name: tag.into(),
            mechanic: mechanic.clone(),
            repair: "new blade".into(),
            ..Default::default()
        };
        self.tags.record_repair(asking(request)).await?;
        let request = v1::RecordInspectionRequest {
            name: tag.into(),
            mechanic: name("workers", "fern"),
            inspection: "runs true".into(),
            passed: true,
            ..Default::default()
        };
        self.tags.record_inspection(asking(request)).await?;
        let request = v1::ReleaseTagOutRequest {
            name: tag.into(),
            mechanic,
            ..Default::default()
        };
        self.tags.release_tag_out(asking(request)).await.map(drop)
    }

    pub(crate) async fn start(&mut self, job: &str, crew: &str) -> Result<(), tonic::Status> {
        self.start_at(job, crew, None).await
    }
}

/// Reports of a step of a visit, at an instant or now.
macro_rules! reports {
    ($($word:ident: $call:ident $request:ident $time:ident $($field:ident $value:expr)?;)+) => {
        impl Api {
            $(pub(crate) async fn $word(
                &mut self,
                job: &str,
                crew: &str,
                at: Option<Timestamp>,
            ) -> Result<(), tonic::Status> {
                let request = v1::$request {
                    job: job.into(),
                    crew: crew.into(),
                    $time: at,
                    $($field: $value,)?
                    ..Default::default()
                };
                self.visits.$call(asking(request)).await.map(drop)
            })+
        }
    };
}
reports! {
    depart: depart_for_job DepartForJobRequest event_time;
    arrive: arrive_at_job ArriveAtJobRequest event_time;
    start_at: start_job StartJobRequest start_time;
    pause: pause_job PauseJobRequest event_time reason "rain".into();
    resume: resume_job ResumeJobRequest event_time;
    finish: finish_job FinishJobRequest finish_time;
}
