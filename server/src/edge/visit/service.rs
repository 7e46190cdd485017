//! The handlers: check, say who calls, run one use case, convert back.

use std::pin::Pin;

use forenoon_proto::v1;
use forenoon_proto::v1::visit_service_server::VisitService;
use tokio_stream::Stream;
use tonic::{Request, Response, Status, Streaming};

use super::report::{Heading, when};
use super::{actuals, convert};
use crate::edge::caller::Incoming;
use crate::edge::checks::Checks;
use crate::edge::services::State;
use crate::edge::status::status;
use crate::work::visit::{ConfirmLoad, Finish, GivenUp, Step};
use crate::work::{self, Error};

/// Most characters of a reason.
const REASON_LENGTH_MAX: usize = 500;
/// Most units that a crew may miss.
const MISSING_MAX: usize = 1_000;

/// `VisitService` over the use cases.
pub(crate) struct VisitApi(pub(crate) State);

/// A handler of a report: the fields of its heading, and the step with what it says beside that.
macro_rules! report {
    ($self:ident, $request:ident, $method:literal, $answer:ident,
     $message:ident { $time:ident $(, $field:ident)* }, |$checks:pat_param, $branch:pat_param| $step:expr) => {{
        fn heading(message: v1::$message) -> Heading {
            let v1::$message { job, crew, $time, request_id, $($field: _,)* } = message;
            Heading {
                job,
                crew,
                at: (stringify!($time), $time),
                request_id,
            }
        }
        $self
            .report(
                $request,
                concat!("forenoon.v1.VisitService/", $method),
                heading,
                |$checks, $branch, v1::$message { $($field,)* .. }| $step,
                |visit| v1::$answer { visit },
            )
            .await
            .map_err(status)
    }};
}

#[tonic::async_trait]
impl VisitService for VisitApi {
    async fn depart_for_job(
        &self,
        request: Request<v1::DepartForJobRequest>,
    ) -> Result<Response<v1::DepartForJobResponse>, Status> {
        report!(
            self,
            request,
            "DepartForJob",
            DepartForJobResponse,
            DepartForJobRequest { event_time },
            |_, _| Some(Step::Depart)
        )
    }

    async fn arrive_at_job(
        &self,
        request: Request<v1::ArriveAtJobRequest>,
    ) -> Result<Response<v1::ArriveAtJobResponse>, Status> {
        report!(
            self,
            request,
            "ArriveAtJob",
            ArriveAtJobResponse,
            ArriveAtJobRequest { event_time },
            |_, _| Some(Step::Arrive)
        )
    }

    async fn start_job(
        &self,
        request: Request<v1::StartJobRequest>,
    ) -> Result<Response<v1::StartJobResponse>, Status> {
        report!(
            self,
            request,
            "StartJob",
            StartJobResponse,
            StartJobRequest { start_time },
            |_, _| Some(Step::Start)
        )
    }

    async fn pause_job(
        &self,
        request: Request<v1::PauseJobRequest>,
    ) -> Result<Response<v1::PauseJobResponse>, Status> {
        report!(
            self,
            request,
            "PauseJob",
            PauseJobResponse,
            PauseJobRequest { event_time, reason },
            |checks, _| {
                checks
                    .text("reason", reason, 0..=REASON_LENGTH_MAX)
                    .map(Step::Pause)
            }
        )
    }

    async fn resume_job(
        &self,
        request: Request<v1::ResumeJobRequest>,
    ) -> Result<Response<v1::ResumeJobResponse>, Status> {
        report!(
            self,
            request,
            "ResumeJob",
            ResumeJobResponse,
            ResumeJobRequest { event_time },
            |_, _| Some(Step::Resume)
        )
    }

    async fn finish_job(
        &self,
        request: Request<v1::FinishJobRequest>,
    ) -> Result<Response<v1::FinishJobResponse>, Status> {
        report!(
            self,
            request,
            "FinishJob",
            FinishJobResponse,
            FinishJobRequest {
                finish_time,
                task_actuals,
                bags,
                note
            },
            |checks, branch| {
                let task_actuals = actuals::actuals(checks, branch, task_actuals);
                let bags = checks.whole("bags", bags, 0..=1_000);
                let note = checks.text("note", note, 0..=2_000);
                Some(Step::Finish(Finish {
                    task_actuals: task_actuals?,
                    bags: bags?,
                    note: note?,
                }))
            }
        )
    }

    async fn report_not_done(
        &self,
        request: Request<v1::ReportNotDoneRequest>,
    ) -> Result<Response<v1::ReportNotDoneResponse>, Status> {
        report!(
            self,
            request,
            "ReportNotDone",
            ReportNotDoneResponse,
            ReportNotDoneRequest {
                event_time,
                reason,
                task_actuals
            },
            |checks, branch| {
                let reason = checks.text("reason", reason, 1..=REASON_LENGTH_MAX);
                let task_actuals = actuals::actuals(checks, branch, task_actuals);
                Some(Step::GiveUp(GivenUp {
                    reason: reason?,
                    task_actuals: task_actuals?,
                }))
            }
        )
    }

    async fn confirm_load(
        &self,
        request: Request<v1::ConfirmLoadRequest>,
    ) -> Result<Response<v1::ConfirmLoadResponse>, Status> {
        self.load(request).await.map_err(status)
    }

    async fn record_walkthrough(
        &self,
        request: Request<v1::RecordWalkthroughRequest>,
    ) -> Result<Response<v1::RecordWalkthroughResponse>, Status> {
        self.walk(request).await.map_err(status)
    }

    async fn upload_photo(
        &self,
        request: Request<Streaming<v1::UploadPhotoRequest>>,
    ) -> Result<Response<v1::UploadPhotoResponse>, Status> {
        self.upload(request).await
    }

    type DownloadPhotoStream =
        Pin<Box<dyn Stream<Item = Result<v1::DownloadPhotoResponse, Status>> + Send>>;

    async fn download_photo(
        &self,
        request: Request<v1::DownloadPhotoRequest>,
    ) -> Result<Response<Self::DownloadPhotoStream>, Status> {
        self.download(request.into_inner()).await.map_err(status)
    }

    async fn list_photos(
        &self,
        request: Request<v1::ListPhotosRequest>,
    ) -> Result<Response<v1::ListPhotosResponse>, Status> {
        self.photos(request.into_inner()).await.map_err(status)
    }

    async fn list_visits(
        &self,
        request: Request<v1::ListVisitsRequest>,
    ) -> Result<Response<v1::ListVisitsResponse>, Status> {
        self.list(request.into_inner()).await.map_err(status)
    }
}

impl VisitApi {
    async fn load(
        &self,
        request: Request<v1::ConfirmLoadRequest>,
    ) -> Result<Response<v1::ConfirmLoadResponse>, Error> {
        let incoming = Incoming::take(request, "forenoon.v1.VisitService/ConfirmLoad")?;
        let v1::ConfirmLoadRequest {
            plan,
            crew,
            missing_units,
            load_time,
            request_id,
        } = incoming.message.clone();
        let mut checks = Checks::new();
        let ids = checks.name("plan", ["branches", "plans"], &plan);
        let known = ids
            .as_ref()
            .map(|[branch, _]| branch.clone())
            .unwrap_or_default();
        let crew = checks
            .name("crew", ["branches", "crews"], &crew)
            .and_then(|_| checks.reference("crew", &known, "crews", &crew))
            .flatten();
        let missing = checks.each(
            "missing_units",
            missing_units,
            MISSING_MAX,
            |checks, unit| {
                checks
                    .name("", ["branches", "units"], &unit)
                    .and_then(|_| checks.reference("", &known, "units", &unit))
                    .flatten()
            },
        );
        let at = when(&mut checks, "load_time", load_time);
        let branch = ids.as_ref().map(|ids| ids[0].as_str());
        let call = incoming.call(&mut checks, branch, &request_id);
        let parts = ids.zip(crew).zip(missing).zip(at).zip(call);
        let (((([branch, plan], crew), mut missing), at), call) = checks.finish(parts)?;
        missing.sort_unstable();
        missing.dedup();
        let command = ConfirmLoad {
            branch,
            plan,
            crew,
            missing,
            at,
        };
        self.0
            .command(&call, &command, |loaded| v1::ConfirmLoadResponse {
                wants_replan: loaded.wants_replan,
            })
            .await
    }

    async fn list(
        &self,
        request: v1::ListVisitsRequest,
    ) -> Result<Response<v1::ListVisitsResponse>, Error> {
        let v1::ListVisitsRequest { plan } = request;
        let mut checks = Checks::new();
        let ids = checks.name("plan", ["branches", "plans"], &plan);
        let [branch, id] = checks.finish(ids)?;
        let plan = work::plan::get(self.0.database.read(), &branch, &id).await?;
        let rows = work::visit::list(self.0.database.read(), &branch, plan.day).await?;
        Ok(Response::new(v1::ListVisitsResponse {
            visits: rows.into_iter().map(convert::to_wire).collect(),
        }))
    }
}
