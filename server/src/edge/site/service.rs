//! The handlers: check, say who calls, run one use case, convert back.

use forenoon_proto::v1;
use forenoon_proto::v1::site_service_server::SiteService;
use tonic::{Request, Response, Status};

use crate::edge::caller::Incoming;
use crate::edge::checks::Checks;
use crate::edge::services::State;
use crate::edge::status::status;
use crate::work::site::{CreateSite, DeleteSite, UpdateSite};
use crate::work::{self, Error};

use super::convert;

/// `SiteService` over the use cases.
pub(crate) struct SiteApi(pub(crate) State);

/// The form of a site's name.
const NAME: [&str; 2] = ["branches", "sites"];

#[tonic::async_trait]
impl SiteService for SiteApi {
    async fn get_site(
        &self,
        request: Request<v1::GetSiteRequest>,
    ) -> Result<Response<v1::GetSiteResponse>, Status> {
        self.get(request.into_inner()).await.map_err(status)
    }

    async fn list_sites(
        &self,
        request: Request<v1::ListSitesRequest>,
    ) -> Result<Response<v1::ListSitesResponse>, Status> {
        self.list(request.into_inner()).await.map_err(status)
    }

    async fn create_site(
        &self,
        request: Request<v1::CreateSiteRequest>,
    ) -> Result<Response<v1::CreateSiteResponse>, Status> {
        self.create(request).await.map_err(status)
    }

    async fn update_site(
        &self,
        request: Request<v1::UpdateSiteRequest>,
    ) -> Result<Response<v1::UpdateSiteResponse>, Status> {
        self.update(request).await.map_err(status)
    }

    async fn delete_site(
        &self,
        request: Request<v1::DeleteSiteRequest>,
    ) -> Result<Response<v1::DeleteSiteResponse>, Status> {
        self.delete(request).await.map_err(status)
    }
}

impl SiteApi {
    async fn get(
        &self,
        request: v1::GetSiteRequest,
    ) -> Result<Response<v1::GetSiteResponse>, Error> {
        let v1::GetSiteRequest { name } = request;
        let mut checks = Checks::new();
        let ids = checks.name("name", NAME, &name);
        let [branch, id] = checks.finish(ids)?;
        let (row, branch) = work::site::with_branch(&self.0.lookups, &branch, &id).await?;
        Ok(Response::new(v1::GetSiteResponse {
            site: Some(convert::to_wire(row, branch.unit_system)),
        }))
    }

    async fn list(
        &self,
        request: v1::ListSitesRequest,
    ) -> Result<Response<v1::ListSitesResponse>, Error> {
        let v1::ListSitesRequest {
            parent,
            page_size,
            page_token,
        } = request;
        let mut checks = Checks::new();
        let branch = checks.name("parent", ["branches"], &parent);
        let query = v1::ListSitesRequest {
            parent,
            ..v1::ListSitesRequest::default()
        };
        let page = checks.page("ListSites", &query, page_size, &page_token);
        let ([branch], page) = checks.finish(branch.zip(page))?;
        let read = self.0.database.read();
        let branch = work::branch::get(read, &branch).await?;
        let rows = work::site::list(read, &branch.id, page.after_id(), page.limit()).await?;
        let (rows, next_page_token) = page.cut(rows, |row| vec![row.id.clone()]);
        Ok(Response::new(v1::ListSitesResponse {
            sites: rows
                .into_iter()
                .map(|row| convert::to_wire(row, branch.unit_system))
                .collect(),
            next_page_token,
        }))
    }

    async fn create(
        &self,
        request: Request<v1::CreateSiteRequest>,
    ) -> Result<Response<v1::CreateSiteResponse>, Error> {
        let incoming = Incoming::take(request, "forenoon.v1.SiteService/CreateSite")?;
        let v1::CreateSiteRequest {
            parent,
            site_id,
            site,
            request_id,
        } = incoming.message.clone();
        let mut checks = Checks::new();
        let parent = checks.name("parent", ["branches"], &parent).map(|[id]| id);
        let branch = self.0.branch(parent.as_deref()).await?;
        let id = checks.new_id("site_id", site_id);
        let call = incoming.call(&mut checks, parent.as_deref(), &request_id);
        let site = checks.required("site", site);
        let site = site.zip(branch.as_ref()).and_then(|(site, branch)| {
            checks.within("site", |checks| {
                convert::from_wire(checks, branch, id.unwrap_or_default(), site)
            })
        });
        let ((call, site), branch) = checks.finish(call.zip(site).zip(branch))?;
        self.0
            .command(&call, &CreateSite { site }, |row| v1::CreateSiteResponse {
                site: Some(convert::to_wire(row.clone(), branch.unit_system)),
            })
            .await
    }

    async fn update(
        &self,
        request: Request<v1::UpdateSiteRequest>,
    ) -> Result<Response<v1::UpdateSiteResponse>, Error> {
        let incoming = Incoming::take(request, "forenoon.v1.SiteService/UpdateSite")?;
        let v1::UpdateSiteRequest {
            site,
            update_mask,
            request_id,
        } = incoming.message.clone();
        let mut checks = Checks::new();
        let site = checks.required("site", site).unwrap_or_default();
        let ids = checks.name("site.name", NAME, &site.name);
        let (parent, id) = ids.map(|[parent, id]| (parent, id)).unzip();
        let branch = self.0.branch(parent.as_deref()).await?;
        let seen = checks.etag("site.etag", &site.etag);
        let (updatable, fixed) = convert::mask_fields();
        let mask = checks.mask(update_mask, updatable, fixed);
        let call = incoming.call(&mut checks, parent.as_deref(), &request_id);
        let parts = branch.zip(id).zip(seen).zip(mask).zip(call);
        let ((((branch, id), seen), mask), call) = checks.finish(parts)?;
        let system = branch.unit_system;
        let command = UpdateSite {
            branch: branch.id.clone(),
            id,
            seen,
            edit: Box::new(move |before| convert::edited(before, &branch, site.clone(), &mask)),
        };
        self.0
            .command(&call, &command, |row| v1::UpdateSiteResponse {
                site: Some(convert::to_wire(row.clone(), system)),
            })
            .await
    }

    async fn delete(
        &self,
        request: Request<v1::DeleteSiteRequest>,
    ) -> Result<Response<v1::DeleteSiteResponse>, Error> {
        let incoming = Incoming::take(request, "forenoon.v1.SiteService/DeleteSite")?;
        let v1::DeleteSiteRequest {
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
        let command = DeleteSite { branch, id, seen };
        self.0
            .command(&call, &command, |()| v1::DeleteSiteResponse {})
            .await
    }
}
