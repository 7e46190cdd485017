//! The handlers: check, say who calls, run one use case, convert back.

use forenoon_proto::v1;
use forenoon_proto::v1::case_service_server::CaseService;
use tonic::{Request, Response, Status};

use super::convert::{from_wire, to_wire};
use crate::edge::caller::Incoming;
use crate::edge::checks::Checks;
use crate::edge::services::State;
use crate::edge::status::status;
use crate::work::case::{CaseFilter, CloseCase, OpenCase};
use crate::work::{self, Error};

/// `CaseService` over the use cases.
pub(crate) struct CaseApi(pub(crate) State);

#[tonic::async_trait]
impl CaseService for CaseApi {
    async fn open_case(
        &self,
        request: Request<v1::OpenCaseRequest>,
    ) -> Result<Response<v1::OpenCaseResponse>, Status> {
        self.open(request).await.map_err(status)
    }

    async fn get_case(
        &self,
        request: Request<v1::GetCaseRequest>,
    ) -> Result<Response<v1::GetCaseResponse>, Status> {
        self.get(request.into_inner()).await.map_err(status)
    }

    async fn list_cases(
        &self,
        request: Request<v1::ListCasesRequest>,
    ) -> Result<Response<v1::ListCasesResponse>, Status> {
        self.list(request.into_inner()).await.map_err(status)
    }

    async fn close_case(
        &self,
        request: Request<v1::CloseCaseRequest>,
    ) -> Result<Response<v1::CloseCaseResponse>, Status> {
        self.close(request).await.map_err(status)
    }
}

impl CaseApi {
    async fn open(
        &self,
        request: Request<v1::OpenCaseRequest>,
    ) -> Result<Response<v1::OpenCaseResponse>, Error> {
        let incoming = Incoming::take(request, "forenoon.v1.CaseService/OpenCase")?;
        let v1::OpenCaseRequest {
            parent,
            case,
            request_id,
        } = incoming.message.clone();
        let mut checks = Checks::new();
        let branch = checks.name("parent", ["branches"], &parent).map(|[id]| id);
        let known = branch.clone().unwrap_or_default();
        let case = checks
            .required("case", case)
            .and_then(|wire| checks.within("case", |checks| from_wire(checks, &known, wire)));
        let call = incoming.call(&mut checks, branch.as_deref(), &request_id);
        let (case, call) = checks.finish(case.zip(call))?;
        self.0
            .command(&call, &OpenCase { case }, |row| v1::OpenCaseResponse {
                case: Some(to_wire(row.clone())),
            })
            .await
    }

    async fn get(
        &self,
        request: v1::GetCaseRequest,
    ) -> Result<Response<v1::GetCaseResponse>, Error> {
        let v1::GetCaseRequest { name } = request;
        let mut checks = Checks::new();
        let ids = checks.name("name", ["branches", "cases"], &name);
        let [branch, id] = checks.finish(ids)?;
        let row = work::case::get(self.0.database.read(), &branch, &id).await?;
        Ok(Response::new(v1::GetCaseResponse {
            case: Some(to_wire(row)),
        }))
    }

    async fn list(
        &self,
        request: v1::ListCasesRequest,
    ) -> Result<Response<v1::ListCasesResponse>, Error> {
        let query = v1::ListCasesRequest {
            page_size: 0,
            page_token: String::new(),
            ..request.clone()
        };
        let v1::ListCasesRequest {
            parent,
            page_size,
            page_token,
            open_only,
        } = request;
        let mut checks = Checks::new();
        let branch = checks.name("parent", ["branches"], &parent).map(|[id]| id);
        let page = checks.page("ListCases", &query, page_size, &page_token);
        let (branch, page) = checks.finish(branch.zip(page))?;
        let read = self.0.database.read();
        work::branch::get(read, &branch).await?;
        let below = page.after_id().and_then(|number| number.parse().ok());
        let rows =
            work::case::list(read, &branch, CaseFilter { open_only }, below, page.limit()).await?;
        let (rows, next_page_token) = page.cut(rows, |row| vec![row.number.to_string()]);
        Ok(Response::new(v1::ListCasesResponse {
            cases: rows.into_iter().map(to_wire).collect(),
            next_page_token,
        }))
    }

    async fn close(
        &self,
        request: Request<v1::CloseCaseRequest>,
    ) -> Result<Response<v1::CloseCaseResponse>, Error> {
        let incoming = Incoming::take(request, "forenoon.v1.CaseService/CloseCase")?;
        let v1::CloseCaseRequest {
            name,
            resolution,
            etag,
            request_id,
        } = incoming.message.clone();
        let mut checks = Checks::new();
        let ids = checks.name("name", ["branches", "cases"], &name);
        let resolution = checks.text("resolution", resolution, 1..=2_000);
        let seen = checks.etag("etag", &etag);
        let branch = ids.as_ref().map(|ids| ids[0].as_str());
        let call = incoming.call(&mut checks, branch, &request_id);
        let parts = ids.zip(resolution).zip(seen).zip(call);
        let ((([branch, id], resolution), seen), call) = checks.finish(parts)?;
        let command = CloseCase {
            branch,
            id,
            resolution,
            seen,
        };
        self.0
            .command(&call, &command, |row| v1::CloseCaseResponse {
                case: Some(to_wire(row.clone())),
            })
            .await
    }
}
