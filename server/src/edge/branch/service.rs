//! The handlers: check, say who calls, run one use case, convert back.

use forenoon_proto::v1;
use forenoon_proto::v1::branch_service_server::BranchService;
use tonic::{Request, Response, Status};

use crate::edge::caller::Incoming;
use crate::edge::checks::Checks;
use crate::edge::services::State;
use crate::edge::sign_in::only_branch;
use crate::edge::status::status;
use crate::work::branch::{CreateBranch, DeleteBranch, UpdateBranch};
use crate::work::{self, Error};

use super::convert;

/// `BranchService` over the use cases.
pub(crate) struct BranchApi(pub(crate) State);

#[tonic::async_trait]
impl BranchService for BranchApi {
    async fn get_branch(
        &self,
        request: Request<v1::GetBranchRequest>,
    ) -> Result<Response<v1::GetBranchResponse>, Status> {
        self.get(request.into_inner()).await.map_err(status)
    }

    async fn list_branches(
        &self,
        request: Request<v1::ListBranchesRequest>,
    ) -> Result<Response<v1::ListBranchesResponse>, Status> {
        self.list(request.into_inner()).await.map_err(status)
    }

    async fn create_branch(
        &self,
        request: Request<v1::CreateBranchRequest>,
    ) -> Result<Response<v1::CreateBranchResponse>, Status> {
        self.create(request).await.map_err(status)
    }

    async fn update_branch(
        &self,
        request: Request<v1::UpdateBranchRequest>,
    ) -> Result<Response<v1::UpdateBranchResponse>, Status> {
        self.update(request).await.map_err(status)
    }

    async fn delete_branch(
        &self,
        request: Request<v1::DeleteBranchRequest>,
    ) -> Result<Response<v1::DeleteBranchResponse>, Status> {
        self.delete(request).await.map_err(status)
    }
}

impl BranchApi {
    async fn get(
        &self,
        request: v1::GetBranchRequest,
    ) -> Result<Response<v1::GetBranchResponse>, Error> {
        let v1::GetBranchRequest { name } = request;
        let mut checks = Checks::new();
        let id = checks.name("name", ["branches"], &name);
        let [id] = checks.finish(id)?;
        let row = work::branch::get(self.0.database.read(), &id).await?;
        Ok(Response::new(v1::GetBranchResponse {
            branch: Some(convert::to_wire(row)),
        }))
    }

    async fn list(
        &self,
        request: v1::ListBranchesRequest,
    ) -> Result<Response<v1::ListBranchesResponse>, Error> {
        let v1::ListBranchesRequest {
            page_size,
            page_token,
        } = request;
        let mut checks = Checks::new();
        let query = v1::ListBranchesRequest::default();
        let page = checks.page("ListBranches", &query, page_size, &page_token);
        let page = checks.finish(page)?;
        let read = self.0.database.read();
        let rows = match only_branch() {
            // Of any page what comes after it: no branch of theirs, once it has been told.
            Some(only) if page.after_id().is_some_and(|after| after >= only.as_str()) => vec![],
            Some(only) => work::branch::find(read, &only).await?.into_iter().collect(),
            None => work::branch::list(read, page.after_id(), page.limit()).await?,
        };
        let (rows, next_page_token) = page.cut(rows, |row| vec![row.id.clone()]);
        Ok(Response::new(v1::ListBranchesResponse {
            branches: rows.into_iter().map(convert::to_wire).collect(),
            next_page_token,
        }))
    }

    async fn create(
        &self,
        request: Request<v1::CreateBranchRequest>,
    ) -> Result<Response<v1::CreateBranchResponse>, Error> {
        let incoming = Incoming::take(request, "forenoon.v1.BranchService/CreateBranch")?;
        let v1::CreateBranchRequest {
            branch_id,
            branch,
            request_id,
        } = incoming.message.clone();
        let mut checks = Checks::new();
        let id = checks.new_id("branch_id", branch_id);
        let call = incoming.call(&mut checks, id.as_deref(), &request_id);
        let branch = checks.required("branch", branch);
        let branch = branch.and_then(|branch| {
            checks.within("branch", |checks| {
                convert::from_wire(checks, id.unwrap_or_default(), branch)
            })
        });
        let (call, branch) = checks.finish(call.zip(branch))?;
        self.0
            .command(&call, &CreateBranch { branch }, |row| {
                v1::CreateBranchResponse {
                    branch: Some(convert::to_wire(row.clone())),
                }
            })
            .await
    }

    async fn update(
        &self,
        request: Request<v1::UpdateBranchRequest>,
    ) -> Result<Response<v1::UpdateBranchResponse>, Error> {
        let incoming = Incoming::take(request, "forenoon.v1.BranchService/UpdateBranch")?;
        let v1::UpdateBranchRequest {
            branch,
            update_mask,
            request_id,
        } = incoming.message.clone();
        let mut checks = Checks::new();
        let branch = checks.required("branch", branch).unwrap_or_default();
        let id = checks.name("branch.name", ["branches"], &branch.name);
        let seen = checks.etag("branch.etag", &branch.etag);
        let (updatable, fixed) = convert::mask_fields();
        let mask = checks.mask(update_mask, updatable, fixed);
        let id = id.map(|[id]| id);
        let call = incoming.call(&mut checks, id.as_deref(), &request_id);
        let parts = id.zip(seen).zip(mask).zip(call);
        let (((id, seen), mask), call) = checks.finish(parts)?;
        let command = UpdateBranch {
            id,
            seen,
            edit: Box::new(move |before| convert::edited(before, branch.clone(), &mask)),
        };
        self.0
            .command(&call, &command, |row| v1::UpdateBranchResponse {
                branch: Some(convert::to_wire(row.clone())),
            })
            .await
    }

    async fn delete(
        &self,
        request: Request<v1::DeleteBranchRequest>,
    ) -> Result<Response<v1::DeleteBranchResponse>, Error> {
        let incoming = Incoming::take(request, "forenoon.v1.BranchService/DeleteBranch")?;
        let v1::DeleteBranchRequest {
            name,
            etag,
            request_id,
        } = incoming.message.clone();
        let mut checks = Checks::new();
        let id = checks.name("name", ["branches"], &name).map(|[id]| id);
        let seen = checks.etag("etag", &etag);
        let call = incoming.call(&mut checks, id.as_deref(), &request_id);
        let ((id, seen), call) = checks.finish(id.zip(seen).zip(call))?;
        self.0
            .command(&call, &DeleteBranch { id, seen }, |()| {
                v1::DeleteBranchResponse {}
            })
            .await
    }
}
