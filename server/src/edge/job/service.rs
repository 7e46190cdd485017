//! The handlers: check, say who calls, run one use case, convert back.

use forenoon_proto::v1;
use forenoon_proto::v1::job_service_server::JobService;
use tonic::{Request, Response, Status};

use crate::edge::caller::Incoming;
use crate::edge::checks::Checks;
use crate::edge::services::State;
use crate::edge::status::status;
use crate::work::job::{CancelJob, CreateJob, DeleteJob, Filter, UpdateJob};
use crate::work::{self, Error};

use super::{convert, estimate, word};

/// `JobService` over the use cases.
pub(crate) struct JobApi(pub(crate) State);

/// The form of a job's name.
const NAME: [&str; 2] = ["branches", "jobs"];

#[tonic::async_trait]
impl JobService for JobApi {
    async fn get_job(
        &self,
        request: Request<v1::GetJobRequest>,
    ) -> Result<Response<v1::GetJobResponse>, Status> {
        self.get(request.into_inner()).await.map_err(status)
    }

    async fn list_jobs(
        &self,
        request: Request<v1::ListJobsRequest>,
    ) -> Result<Response<v1::ListJobsResponse>, Status> {
        self.list(request.into_inner()).await.map_err(status)
    }

    async fn create_job(
        &self,
        request: Request<v1::CreateJobRequest>,
    ) -> Result<Response<v1::CreateJobResponse>, Status> {
        self.create(request).await.map_err(status)
    }

    async fn update_job(
        &self,
        request: Request<v1::UpdateJobRequest>,
    ) -> Result<Response<v1::UpdateJobResponse>, Status> {
        self.update(request).await.map_err(status)
    }

    async fn delete_job(
        &self,
        request: Request<v1::DeleteJobRequest>,
    ) -> Result<Response<v1::DeleteJobResponse>, Status> {
        self.delete(request).await.map_err(status)
    }

    async fn cancel_job(
        &self,
        request: Request<v1::CancelJobRequest>,
    ) -> Result<Response<v1::CancelJobResponse>, Status> {
        self.cancel(request).await.map_err(status)
    }

    async fn estimate_job(
        &self,
        request: Request<v1::EstimateJobRequest>,
    ) -> Result<Response<v1::EstimateJobResponse>, Status> {
        self.estimate(request.into_inner()).await.map_err(status)
    }
}

impl JobApi {
    async fn get(&self, request: v1::GetJobRequest) -> Result<Response<v1::GetJobResponse>, Error> {
        let v1::GetJobRequest { name } = request;
        let mut checks = Checks::new();
        let ids = checks.name("name", NAME, &name);
        let [branch, id] = checks.finish(ids)?;
        let (row, branch) = work::job::with_branch(&self.0.lookups, &branch, &id).await?;
        Ok(Response::new(v1::GetJobResponse {
            job: Some(convert::to_wire(row, &branch)),
        }))
    }

    async fn list(
        &self,
        request: v1::ListJobsRequest,
    ) -> Result<Response<v1::ListJobsResponse>, Error> {
        let v1::ListJobsRequest {
            parent,
            page_size,
            page_token,
            state,
            site,
            day,
        } = request;
        let mut checks = Checks::new();
        let branch = checks.name("parent", ["branches"], &parent).map(|[id]| id);
        let query = v1::ListJobsRequest {
            parent,
            page_size: 0,
            page_token: String::new(),
            state,
            site: site.clone(),
            day,
        };
        let page = checks.page("ListJobs", &query, page_size, &page_token);
        let state = checks.word("state", state, Some(None), |state| {
            word::state_from_wire(state).map(Some)
        });
        let site_id = branch
            .as_deref()
            .and_then(|branch| checks.reference("site", branch, "sites", &site));
        let day = match day {
            None => Some(None),
            Some(day) => checks.date("day", day).map(Some),
        };
        let parts = branch.zip(page).zip(state).zip(site_id).zip(day);
        let ((((branch, page), state), site_id), day) = checks.finish(parts)?;
        let filter = Filter {
            state,
            site_id,
            day,
        };
        let read = self.0.database.read();
        let branch = work::branch::get(read, &branch).await?;
        let rows =
            work::job::list(read, &branch.id, &filter, page.after_id(), page.limit()).await?;
        let (rows, next_page_token) = page.cut(rows, |row| vec![row.id.clone()]);
        Ok(Response::new(v1::ListJobsResponse {
            jobs: rows
                .into_iter()
                .map(|row| convert::to_wire(row, &branch))
                .collect(),
            next_page_token,
        }))
    }

    async fn create(
        &self,
        request: Request<v1::CreateJobRequest>,
    ) -> Result<Response<v1::CreateJobResponse>, Error> {
        let incoming = Incoming::take(request, "forenoon.v1.JobService/CreateJob")?;
        let v1::CreateJobRequest {
            parent,
            job_id,
            job,
            request_id,
        } = incoming.message.clone();
        let mut checks = Checks::new();
        let parent = checks.name("parent", ["branches"], &parent).map(|[id]| id);
        let branch = self.0.branch(parent.as_deref()).await?;
        let id = checks.new_id("job_id", job_id);
        let call = incoming.call(&mut checks, parent.as_deref(), &request_id);
        let job = checks.required("job", job);
        let job = job.zip(branch.as_ref()).and_then(|(job, branch)| {
            checks.within("job", |checks| {
                convert::from_wire(checks, branch, id.unwrap_or_default(), job)
            })
        });
        let ((call, job), branch) = checks.finish(call.zip(job).zip(branch))?;
        let command = CreateJob {
            branch: branch.clone(),
            job,
        };
        self.0
            .command(&call, &command, |row| v1::CreateJobResponse {
                job: Some(convert::to_wire(row.clone(), &branch)),
            })
            .await
    }

    async fn update(
        &self,
        request: Request<v1::UpdateJobRequest>,
    ) -> Result<Response<v1::UpdateJobResponse>, Error> {
        let incoming = Incoming::take(request, "forenoon.v1.JobService/UpdateJob")?;
        let v1::UpdateJobRequest {
            job,
            update_mask,
            request_id,
        } = incoming.message.clone();
        let mut checks = Checks::new();
        let job = checks.required("job", job).unwrap_or_default();
        let ids = checks.name("job.name", NAME, &job.name);
        let (parent, id) = ids.map(|[parent, id]| (parent, id)).unzip();
        let branch = self.0.branch(parent.as_deref()).await?;
        let seen = checks.etag("job.etag", &job.etag);
        let (updatable, fixed) = convert::mask_fields();
        let mask = checks.mask(update_mask, updatable, fixed);
        let call = incoming.call(&mut checks, parent.as_deref(), &request_id);
        let parts = branch.zip(id).zip(seen).zip(mask).zip(call);
        let ((((branch, id), seen), mask), call) = checks.finish(parts)?;
        let read_against = branch.clone();
        let command = UpdateJob {
            branch: branch.clone(),
            id,
            seen,
            edit: Box::new(move |before| {
                convert::edited(before, &read_against, job.clone(), &mask)
            }),
        };
        self.0
            .command(&call, &command, |row| v1::UpdateJobResponse {
                job: Some(convert::to_wire(row.clone(), &branch)),
            })
            .await
    }

    async fn delete(
        &self,
        request: Request<v1::DeleteJobRequest>,
    ) -> Result<Response<v1::DeleteJobResponse>, Error> {
        let incoming = Incoming::take(request, "forenoon.v1.JobService/DeleteJob")?;
        let v1::DeleteJobRequest {
            name,
            etag,
            request_id,
        } = incoming.message.clone();
        let mut checks = Checks::new();
        let ids = checks.name("name", NAME, &name);
        let (branch, id) = ids.map(|[branch, id]| (branch, id)).unzip();
        let seen = checks.etag("etag", &etag);
        let call = incoming.call(&mut checks, branch.as_deref(), &request_id);
        let parts = branch.zip(id).zip(seen).zip(call);
        let (((branch, id), seen), call) = checks.finish(parts)?;
        let command = DeleteJob { branch, id, seen };
        self.0
            .command(&call, &command, |()| v1::DeleteJobResponse {})
            .await
    }

    async fn cancel(
        &self,
        request: Request<v1::CancelJobRequest>,
    ) -> Result<Response<v1::CancelJobResponse>, Error> {
        let incoming = Incoming::take(request, "forenoon.v1.JobService/CancelJob")?;
        let v1::CancelJobRequest {
            name,
            reason,
            etag,
            request_id,
        } = incoming.message.clone();
        let mut checks = Checks::new();
        let ids = checks.name("name", NAME, &name);
        let (parent, id) = ids.map(|[parent, id]| (parent, id)).unzip();
        let branch = self.0.branch(parent.as_deref()).await?;
        let reason = checks.text("reason", reason, 1..=500);
        let seen = checks.etag("etag", &etag);
        let call = incoming.call(&mut checks, parent.as_deref(), &request_id);
        let parts = branch.zip(id).zip(reason).zip(seen).zip(call);
        let ((((branch, id), reason), seen), call) = checks.finish(parts)?;
        let command = CancelJob {
            branch: branch.id.clone(),
            id,
            reason,
            seen,
        };
        self.0
            .command(&call, &command, |row| v1::CancelJobResponse {
                job: Some(convert::to_wire(row.clone(), &branch)),
            })
            .await
    }

    async fn estimate(
        &self,
        request: v1::EstimateJobRequest,
    ) -> Result<Response<v1::EstimateJobResponse>, Error> {
        let mut checks = Checks::new();
        let parent = checks.name("parent", ["branches"], &request.parent);
        let [parent] = checks.finish(parent)?;
        let branch = work::branch::get(self.0.database.read(), &parent).await?;
        let now = self.0.clock.now();
        let mut checks = Checks::new();
        let asked = estimate::from_wire(&mut checks, &branch, request, now.date_naive());
        let asked = checks.finish(asked)?;
        let snapshot = self.0.database.begin_read().await?;
        let answer = work::job::estimate(&snapshot, &self.0.learning, &asked, now).await?;
        Ok(Response::new(v1::EstimateJobResponse {
            estimate: Some(estimate::to_wire(answer, &branch)),
        }))
    }
}
