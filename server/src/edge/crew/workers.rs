//! The handlers of workers: check, say who calls, run one use case, convert back.

use forenoon_proto::v1;
use tonic::{Request, Response};

use crate::edge::caller::Incoming;
use crate::edge::checks::Checks;
use crate::edge::services::State;
use crate::work::worker::{CreateWorker, DeleteWorker, UpdateWorker};
use crate::work::{self, Error};

use super::worker_convert;

/// The form of a worker's name.
const NAME: [&str; 2] = ["branches", "workers"];

pub(super) async fn get(
    state: &State,
    request: v1::GetWorkerRequest,
) -> Result<Response<v1::GetWorkerResponse>, Error> {
    let v1::GetWorkerRequest { name } = request;
    let mut checks = Checks::new();
    let ids = checks.name("name", NAME, &name);
    let [branch, id] = checks.finish(ids)?;
    let (row, branch) = work::worker::with_branch(&state.lookups, &branch, &id).await?;
    Ok(Response::new(v1::GetWorkerResponse {
        worker: Some(worker_convert::to_wire(row, &branch.currency_code)),
    }))
}

pub(super) async fn list(
    state: &State,
    request: v1::ListWorkersRequest,
) -> Result<Response<v1::ListWorkersResponse>, Error> {
    let v1::ListWorkersRequest {
        parent,
        page_size,
        page_token,
    } = request;
    let mut checks = Checks::new();
    let branch = checks.name("parent", ["branches"], &parent);
    let query = v1::ListWorkersRequest {
        parent,
        ..v1::ListWorkersRequest::default()
    };
    let page = checks.page("ListWorkers", &query, page_size, &page_token);
    let ([branch], page) = checks.finish(branch.zip(page))?;
    let read = state.database.read();
    let branch = work::branch::get(read, &branch).await?;
    let rows = work::worker::list(read, &branch.id, page.after_id(), page.limit()).await?;
    let (rows, next_page_token) = page.cut(rows, |row| vec![row.id.clone()]);
    Ok(Response::new(v1::ListWorkersResponse {
        workers: rows
            .into_iter()
            .map(|row| worker_convert::to_wire(row, &branch.currency_code))
            .collect(),
        next_page_token,
    }))
}

pub(super) async fn create(
    state: &State,
    request: Request<v1::CreateWorkerRequest>,
) -> Result<Response<v1::CreateWorkerResponse>, Error> {
    let incoming = Incoming::take(request, "forenoon.v1.CrewService/CreateWorker")?;
    let v1::CreateWorkerRequest {
        parent,
        worker_id,
        worker,
        request_id,
    } = incoming.message.clone();
    let mut checks = Checks::new();
    let parent = checks.name("parent", ["branches"], &parent).map(|[id]| id);
    let branch = state.branch(parent.as_deref()).await?;
    let id = checks.new_id("worker_id", worker_id);
    let call = incoming.call(&mut checks, parent.as_deref(), &request_id);
    let worker = checks.required("worker", worker);
    let worker = worker.zip(branch.as_ref()).and_then(|(worker, branch)| {
        checks.within("worker", |checks| {
            worker_convert::from_wire(checks, branch, id.unwrap_or_default(), worker)
        })
    });
    let ((call, worker), branch) = checks.finish(call.zip(worker).zip(branch))?;
    let command = CreateWorker {
        branch: branch.clone(),
        worker,
    };
    state
        .command(&call, &command, |row| v1::CreateWorkerResponse {
            worker: Some(worker_convert::to_wire(row.clone(), &branch.currency_code)),
        })
        .await
}

pub(super) async fn update(
    state: &State,
    request: Request<v1::UpdateWorkerRequest>,
) -> Result<Response<v1::UpdateWorkerResponse>, Error> {
    let incoming = Incoming::take(request, "forenoon.v1.CrewService/UpdateWorker")?;
    let v1::UpdateWorkerRequest {
        worker,
        update_mask,
        request_id,
    } = incoming.message.clone();
    let mut checks = Checks::new();
    let worker = checks.required("worker", worker).unwrap_or_default();
    let ids = checks.name("worker.name", NAME, &worker.name);
    let (parent, id) = ids.map(|[parent, id]| (parent, id)).unzip();
    let branch = state.branch(parent.as_deref()).await?;
    let seen = checks.etag("worker.etag", &worker.etag);
    let (updatable, fixed) = worker_convert::mask_fields();
    let mask = checks.mask(update_mask, updatable, fixed);
    let call = incoming.call(&mut checks, parent.as_deref(), &request_id);
    let parts = branch.zip(id).zip(seen).zip(mask).zip(call);
    let ((((branch, id), seen), mask), call) = checks.finish(parts)?;
    let seen_branch = branch.clone();
    let command = UpdateWorker {
        branch: branch.clone(),
        id,
        seen,
        edit: Box::new(move |before| {
            worker_convert::edited(before, &seen_branch, worker.clone(), &mask)
        }),
    };
    state
        .command(&call, &command, |row| v1::UpdateWorkerResponse {
            worker: Some(worker_convert::to_wire(row.clone(), &branch.currency_code)),
        })
        .await
}

pub(super) async fn delete(
    state: &State,
    request: Request<v1::DeleteWorkerRequest>,
) -> Result<Response<v1::DeleteWorkerResponse>, Error> {
    let incoming = Incoming::take(request, "forenoon.v1.CrewService/DeleteWorker")?;
    let v1::DeleteWorkerRequest {
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
    let command = DeleteWorker { branch, id, seen };
    state
        .command(&call, &command, |()| v1::DeleteWorkerResponse {})
        .await
}
