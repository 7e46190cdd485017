//! The methods of the service; what they do is in [`super::crews`] and [`super::workers`].

use forenoon_proto::v1;
use forenoon_proto::v1::crew_service_server::CrewService;
use tonic::{Request, Response, Status};

use crate::edge::services::State;
use crate::edge::status::status;

use super::{crews, workers};

/// `CrewService` over the use cases.
pub(crate) struct CrewApi(pub(crate) State);

#[tonic::async_trait]
impl CrewService for CrewApi {
    async fn get_crew(
        &self,
        request: Request<v1::GetCrewRequest>,
    ) -> Result<Response<v1::GetCrewResponse>, Status> {
        crews::get(&self.0, request.into_inner())
            .await
            .map_err(status)
    }

    async fn list_crews(
        &self,
        request: Request<v1::ListCrewsRequest>,
    ) -> Result<Response<v1::ListCrewsResponse>, Status> {
        crews::list(&self.0, request.into_inner())
            .await
            .map_err(status)
    }

    async fn create_crew(
        &self,
        request: Request<v1::CreateCrewRequest>,
    ) -> Result<Response<v1::CreateCrewResponse>, Status> {
        crews::create(&self.0, request).await.map_err(status)
    }

    async fn update_crew(
        &self,
        request: Request<v1::UpdateCrewRequest>,
    ) -> Result<Response<v1::UpdateCrewResponse>, Status> {
        crews::update(&self.0, request).await.map_err(status)
    }

    async fn delete_crew(
        &self,
        request: Request<v1::DeleteCrewRequest>,
    ) -> Result<Response<v1::DeleteCrewResponse>, Status> {
        crews::delete(&self.0, request).await.map_err(status)
    }

    async fn get_worker(
        &self,
        request: Request<v1::GetWorkerRequest>,
    ) -> Result<Response<v1::GetWorkerResponse>, Status> {
        workers::get(&self.0, request.into_inner())
            .await
            .map_err(status)
    }

    async fn list_workers(
        &self,
        request: Request<v1::ListWorkersRequest>,
    ) -> Result<Response<v1::ListWorkersResponse>, Status> {
        workers::list(&self.0, request.into_inner())
            .await
            .map_err(status)
    }

    async fn create_worker(
        &self,
        request: Request<v1::CreateWorkerRequest>,
    ) -> Result<Response<v1::CreateWorkerResponse>, Status> {
        workers::create(&self.0, request).await.map_err(status)
    }

    async fn update_worker(
        &self,
        request: Request<v1::UpdateWorkerRequest>,
    ) -> Result<Response<v1::UpdateWorkerResponse>, Status> {
        workers::update(&self.0, request).await.map_err(status)
    }

    async fn delete_worker(
        &self,
        request: Request<v1::DeleteWorkerRequest>,
    ) -> Result<Response<v1::DeleteWorkerResponse>, Status> {
        workers::delete(&self.0, request).await.map_err(status)
    }
}
