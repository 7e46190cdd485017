//! The handlers: check, say who calls, run one use case, convert back.

use forenoon_proto::v1;
use forenoon_proto::v1::visit_service_server::VisitService;
use tonic::{Request, Response, Status};

use super::convert;
use crate::edge::caller::Incoming;
use crate::edge::checks::Checks;
use crate::edge::services::State;
use crate::edge::status::status;
use crate::work::visit::{FinishJob, StartJob};
use crate::work::{self, Error};

/// `VisitService` over the use cases.
pub(crate) struct VisitApi(pub(crate) State);

#[tonic::async_trait]
impl VisitService for VisitApi {
    async fn start_job(
        &self,
        request: Request<v1::StartJobRequest>,
    ) -> Result<Response<v1::StartJobResponse>, Status> {
        self.start(request).await.map_err(status)
    }

    async fn finish_job(
        &self,
        request: Request<v1::FinishJobRequest>,
    ) -> Result<Response<v1::FinishJobResponse>, Status> {
        self.finish(request).await.map_err(status)
    }

    async fn list_visits(
        &self,
        request: Request<v1::ListVisitsRequest>,
    ) -> Result<Response<v1::ListVisitsResponse>, Status> {
        self.list(request.into_inner()).await.map_err(status)
    }
}

impl VisitApi {
    async fn start(
        &self,
        request: Request<v1::StartJobRequest>,
    ) -> Result<Response<v1::StartJobResponse>, Error> {
        let incoming = Incoming::take(request, "forenoon.v1.VisitService/StartJob")?;
        let v1::StartJobRequest {
            job,
            crew,
            start_time,
            request_id,
        } = incoming.message.clone();
        let mut checks = Checks::new();
        let ids = job_and_crew(&mut checks, &job, &crew);
        let start_time = match start_time {
            Some(start) => checks.instant("start_time", start).map(Some),
            None => Some(None),
        };
        let branch = ids.as_ref().map(|ids| ids[0].as_str());
        let call = incoming.call(&mut checks, branch, &request_id);
        let (([branch, job, crew], start_time), call) =
            checks.finish(ids.zip(start_time).zip(call))?;
        let command = StartJob {
            branch,
            job,
            crew,
            start_time,
        };
        self.0
            .command(&call, &command, |row| v1::StartJobResponse {
                visit: Some(convert::to_wire(row.clone())),
            })
            .await
    }

    async fn finish(
        &self,
        request: Request<v1::FinishJobRequest>,
    ) -> Result<Response<v1::FinishJobResponse>, Error> {
        let incoming = Incoming::take(request, "forenoon.v1.VisitService/FinishJob")?;
        let v1::FinishJobRequest {
            job,
            crew,
            finish_time,
            task_actuals,
            bags,
            note,
            request_id,
        } = incoming.message.clone();
        let mut checks = Checks::new();
        let ids = job_and_crew(&mut checks, &job, &crew);
        let branch = ids.as_ref().map(|ids| ids[0].clone());
        let finish_time = match finish_time {
            Some(finish) => checks.instant("finish_time", finish).map(Some),
            None => Some(None),
        };
        let known = branch.clone().unwrap_or_default();
        let task_actuals = convert::actuals(&mut checks, &known, task_actuals);
        let bags = checks.whole("bags", bags, 0..=1_000);
        let note = checks.text("note", note, 0..=2_000);
        let call = incoming.call(&mut checks, branch.as_deref(), &request_id);
        let parts = ids
            .zip(finish_time)
            .zip(task_actuals)
            .zip(bags)
            .zip(note)
            .zip(call);
        let ((((([branch, job, crew], finish_time), task_actuals), bags), note), call) =
            checks.finish(parts)?;
        let command = FinishJob {
            branch,
            job,
            crew,
            finish_time,
            task_actuals,
            bags,
            note,
        };
        self.0
            .command(&call, &command, |row| v1::FinishJobResponse {
                visit: Some(convert::to_wire(row.clone())),
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
        let rows = work::visit::list(self.0.database.read(), &plan).await?;
        Ok(Response::new(v1::ListVisitsResponse {
            visits: rows.into_iter().map(convert::to_wire).collect(),
        }))
    }
}

/// Branch, job and crew of a report.
fn job_and_crew(checks: &mut Checks, job: &str, crew: &str) -> Option<[String; 3]> {
    let ids = checks.name("job", ["branches", "jobs"], job);
    let known = ids
        .as_ref()
        .map(|[branch, _]| branch.clone())
        .unwrap_or_default();
    let crew = checks
        .name("crew", ["branches", "crews"], crew)
        .and_then(|_| checks.reference("crew", &known, "crews", crew))
        .flatten();
    let ([branch, job], crew) = ids.zip(crew)?;
    Some([branch, job, crew])
}
