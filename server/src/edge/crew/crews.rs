//! The handlers of crews: check, say who calls, run one use case, convert back.

use forenoon_proto::v1;
use tonic::{Request, Response};

use crate::edge::caller::Incoming;
use crate::edge::checks::Checks;
use crate::edge::services::State;
use crate::work::crew::{CreateCrew, DeleteCrew, UpdateCrew};
use crate::work::{self, Error};

use super::convert;

/// The form of a crew's name.
const NAME: [&str; 2] = ["branches", "crews"];

pub(super) async fn get(
    state: &State,
    request: v1::GetCrewRequest,
) -> Result<Response<v1::GetCrewResponse>, Error> {
    let v1::GetCrewRequest { name } = request;
    let mut checks = Checks::new();
    let ids = checks.name("name", NAME, &name);
    let [branch, id] = checks.finish(ids)?;
    let read = state.database.read();
    let row = work::crew::get(read, &branch, &id).await?;
    let now = work::crew::with_workers(read, row).await?;
    Ok(Response::new(v1::GetCrewResponse {
        crew: Some(convert::to_wire(now)),
    }))
}

pub(super) async fn list(
    state: &State,
    request: v1::ListCrewsRequest,
) -> Result<Response<v1::ListCrewsResponse>, Error> {
    let v1::ListCrewsRequest {
        parent,
        page_size,
        page_token,
    } = request;
    let mut checks = Checks::new();
    let branch = checks.name("parent", ["branches"], &parent);
    let query = v1::ListCrewsRequest {
        parent,
        ..v1::ListCrewsRequest::default()
    };
    let page = checks.page("ListCrews", &query, page_size, &page_token);
    let ([branch], page) = checks.finish(branch.zip(page))?;
    let read = state.database.read();
    work::branch::get(read, &branch).await?;
    let crews = work::crew::list(read, &branch, page.after_id(), page.limit()).await?;
    let (crews, next_page_token) = page.cut(crews, |now| vec![now.crew.id.clone()]);
    Ok(Response::new(v1::ListCrewsResponse {
        crews: crews.into_iter().map(convert::to_wire).collect(),
        next_page_token,
    }))
}

pub(super) async fn create(
    state: &State,
    request: Request<v1::CreateCrewRequest>,
) -> Result<Response<v1::CreateCrewResponse>, Error> {
    let incoming = Incoming::take(request, "forenoon.v1.CrewService/CreateCrew")?;
    let v1::CreateCrewRequest {
        parent,
        crew_id,
        crew,
        request_id,
    } = incoming.message.clone();
    let mut checks = Checks::new();
    let parent = checks.name("parent", ["branches"], &parent).map(|[id]| id);
    let branch = state.branch(parent.as_deref()).await?;
    let id = checks.new_id("crew_id", crew_id);
    let call = incoming.call(&mut checks, parent.as_deref(), &request_id);
    let crew = checks.required("crew", crew);
    let crew = crew.zip(branch.as_ref()).and_then(|(crew, branch)| {
        checks.within("crew", |checks| {
            convert::from_wire(checks, branch, id.unwrap_or_default(), crew)
        })
    });
    let (call, crew) = checks.finish(call.zip(crew))?;
    state
        .command(&call, &CreateCrew { crew }, |now| v1::CreateCrewResponse {
            crew: Some(convert::to_wire(now.clone())),
        })
        .await
}

pub(super) async fn update(
    state: &State,
    request: Request<v1::UpdateCrewRequest>,
) -> Result<Response<v1::UpdateCrewResponse>, Error> {
    let incoming = Incoming::take(request, "forenoon.v1.CrewService/UpdateCrew")?;
    let v1::UpdateCrewRequest {
        crew,
        update_mask,
        request_id,
    } = incoming.message.clone();
    let mut checks = Checks::new();
    let crew = checks.required("crew", crew).unwrap_or_default();
    let ids = checks.name("crew.name", NAME, &crew.name);
    let (parent, id) = ids.map(|[parent, id]| (parent, id)).unzip();
    let branch = state.branch(parent.as_deref()).await?;
    let seen = checks.etag("crew.etag", &crew.etag);
    let (updatable, fixed) = convert::mask_fields();
    let mask = checks.mask(update_mask, updatable, fixed);
    let call = incoming.call(&mut checks, parent.as_deref(), &request_id);
    let parts = branch.zip(id).zip(seen).zip(mask).zip(call);
    let ((((branch, id), seen), mask), call) = checks.finish(parts)?;
    let command = UpdateCrew {
        branch: branch.id.clone(),
        id,
        seen,
        edit: Box::new(move |before| convert::edited(before, &branch, crew.clone(), &mask)),
    };
    state
        .command(&call, &command, |now| v1::UpdateCrewResponse {
            crew: Some(convert::to_wire(now.clone())),
        })
        .await
}

pub(super) async fn delete(
    state: &State,
    request: Request<v1::DeleteCrewRequest>,
) -> Result<Response<v1::DeleteCrewResponse>, Error> {
    let incoming = Incoming::take(request, "forenoon.v1.CrewService/DeleteCrew")?;
    let v1::DeleteCrewRequest {
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
    let command = DeleteCrew { branch, id, seen };
    state
        .command(&call, &command, |()| v1::DeleteCrewResponse {})
        .await
}
