//! A tag to print.

use forenoon_proto::v1;
use tonic::Response;

use super::service::TagOutApi;
use crate::edge::checks::Checks;
use crate::work::{self, Error};

impl TagOutApi {
    pub(super) async fn render(
        &self,
        request: v1::RenderTagOutRequest,
    ) -> Result<Response<v1::RenderTagOutResponse>, Error> {
        let v1::RenderTagOutRequest { name } = request;
        let mut checks = Checks::new();
        let ids = checks.name("name", ["branches", "tagOuts"], &name);
        let [branch, id] = checks.finish(ids)?;
        let transaction = self.0.database.begin_read().await?;
        let svg = work::tag_out::render(&transaction, &branch, &id).await?;
        transaction.commit().await?;
        Ok(Response::new(v1::RenderTagOutResponse { svg }))
    }
}
