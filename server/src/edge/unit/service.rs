//! The handlers: check, say who calls, run one use case, convert back.

use forenoon_proto::v1;
use forenoon_proto::v1::unit_service_server::UnitService;
use forenoon_store::entity::branch;
use tonic::{Request, Response, Status};

use crate::edge::caller::Incoming;
use crate::edge::checks::Checks;
use crate::edge::services::State;
use crate::edge::status::status;
use crate::work::unit::{CreateUnit, DeleteUnit, UnitNow, UpdateUnit};
use crate::work::{self, Error};

use super::convert;

/// `UnitService` over the use cases.
pub(crate) struct UnitApi(pub(crate) State);

/// The form of a unit's name.
const NAME: [&str; 2] = ["branches", "units"];

fn present(now: UnitNow, branch: &branch::Model) -> v1::Unit {
    convert::to_wire(now, branch.unit_system, &branch.currency_code)
}

#[tonic::async_trait]
impl UnitService for UnitApi {
    async fn get_unit(
        &self,
        request: Request<v1::GetUnitRequest>,
    ) -> Result<Response<v1::GetUnitResponse>, Status> {
        self.get(request.into_inner()).await.map_err(status)
    }

    async fn list_units(
        &self,
        request: Request<v1::ListUnitsRequest>,
    ) -> Result<Response<v1::ListUnitsResponse>, Status> {
        self.list(request.into_inner()).await.map_err(status)
    }

    async fn create_unit(
        &self,
        request: Request<v1::CreateUnitRequest>,
    ) -> Result<Response<v1::CreateUnitResponse>, Status> {
        self.create(request).await.map_err(status)
    }

    async fn update_unit(
        &self,
        request: Request<v1::UpdateUnitRequest>,
    ) -> Result<Response<v1::UpdateUnitResponse>, Status> {
        self.update(request).await.map_err(status)
    }

    async fn delete_unit(
        &self,
        request: Request<v1::DeleteUnitRequest>,
    ) -> Result<Response<v1::DeleteUnitResponse>, Status> {
        self.delete(request).await.map_err(status)
    }
}

impl UnitApi {
    async fn get(
        &self,
        request: v1::GetUnitRequest,
    ) -> Result<Response<v1::GetUnitResponse>, Error> {
        let v1::GetUnitRequest { name } = request;
        let mut checks = Checks::new();
        let ids = checks.name("name", NAME, &name);
        let [branch, id] = checks.finish(ids)?;
        let read = self.0.database.read();
        let (row, branch) = work::unit::with_branch(&self.0.lookups, &branch, &id).await?;
        let now = work::unit::with_tag(read, row).await?;
        Ok(Response::new(v1::GetUnitResponse {
            unit: Some(present(now, &branch)),
        }))
    }

    async fn list(
        &self,
        request: v1::ListUnitsRequest,
    ) -> Result<Response<v1::ListUnitsResponse>, Error> {
        let v1::ListUnitsRequest {
            parent,
            page_size,
            page_token,
            state,
        } = request;
        let mut checks = Checks::new();
        let branch = checks.name("parent", ["branches"], &parent);
        let wanted = checks.word("state", state, Some(None), |word| {
            convert::state_from_wire(word).map(Some)
        });
        let query = v1::ListUnitsRequest {
            parent,
            state,
            ..v1::ListUnitsRequest::default()
        };
        let page = checks.page("ListUnits", &query, page_size, &page_token);
        let (([branch], page), wanted) = checks.finish(branch.zip(page).zip(wanted))?;
        let read = self.0.database.read();
        let branch = work::branch::get(read, &branch).await?;
        let (after, limit) = (page.after_id(), page.limit());
        let units = work::unit::list(read, &branch.id, wanted, after, limit).await?;
        let (units, next_page_token) = page.cut(units, |now| vec![now.unit.id.clone()]);
        Ok(Response::new(v1::ListUnitsResponse {
            units: units.into_iter().map(|now| present(now, &branch)).collect(),
            next_page_token,
        }))
    }

    async fn create(
        &self,
        request: Request<v1::CreateUnitRequest>,
    ) -> Result<Response<v1::CreateUnitResponse>, Error> {
        let incoming = Incoming::take(request, "forenoon.v1.UnitService/CreateUnit")?;
        let v1::CreateUnitRequest {
            parent,
            unit_id,
            unit,
            request_id,
        } = incoming.message.clone();
        let mut checks = Checks::new();
        let parent = checks.name("parent", ["branches"], &parent).map(|[id]| id);
        let branch = self.0.branch(parent.as_deref()).await?;
        let id = checks.new_id("unit_id", unit_id);
        let call = incoming.call(&mut checks, parent.as_deref(), &request_id);
        let unit = checks.required("unit", unit);
        let unit = unit.zip(branch.as_ref()).and_then(|(unit, branch)| {
            checks.within("unit", |checks| {
                convert::from_wire(checks, branch, id.unwrap_or_default(), unit)
            })
        });
        let ((call, unit), branch) = checks.finish(call.zip(unit).zip(branch))?;
        let command = CreateUnit {
            branch: branch.clone(),
            unit,
        };
        self.0
            .command(&call, &command, |now| v1::CreateUnitResponse {
                unit: Some(present(now.clone(), &branch)),
            })
            .await
    }

    async fn update(
        &self,
        request: Request<v1::UpdateUnitRequest>,
    ) -> Result<Response<v1::UpdateUnitResponse>, Error> {
        let incoming = Incoming::take(request, "forenoon.v1.UnitService/UpdateUnit")?;
        let v1::UpdateUnitRequest {
            unit,
            update_mask,
            request_id,
        } = incoming.message.clone();
        let mut checks = Checks::new();
        let unit = checks.required("unit", unit).unwrap_or_default();
        let ids = checks.name("unit.name", NAME, &unit.name);
        let (parent, id) = ids.map(|[parent, id]| (parent, id)).unzip();
        let branch = self.0.branch(parent.as_deref()).await?;
        let seen = checks.etag("unit.etag", &unit.etag);
        let (updatable, fixed) = convert::mask_fields();
        let mask = checks.mask(update_mask, updatable, fixed);
        let call = incoming.call(&mut checks, parent.as_deref(), &request_id);
        let parts = branch.zip(id).zip(seen).zip(mask).zip(call);
        let ((((branch, id), seen), mask), call) = checks.finish(parts)?;
        let seen_branch = branch.clone();
        let command = UpdateUnit {
            branch: branch.clone(),
            id,
            seen,
            edit: Box::new(move |before| {
                convert::edited(before, &seen_branch, unit.clone(), &mask)
            }),
        };
        self.0
            .command(&call, &command, |now| v1::UpdateUnitResponse {
                unit: Some(present(now.clone(), &branch)),
            })
            .await
    }

    async fn delete(
        &self,
        request: Request<v1::DeleteUnitRequest>,
    ) -> Result<Response<v1::DeleteUnitResponse>, Error> {
        let incoming = Incoming::take(request, "forenoon.v1.UnitService/DeleteUnit")?;
        let v1::DeleteUnitRequest {
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
        let command = DeleteUnit { branch, id, seen };
        self.0
            .command(&call, &command, |()| v1::DeleteUnitResponse {})
            .await
    }
}
