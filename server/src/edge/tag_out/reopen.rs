//! A release taken back.

use forenoon_proto::v1;
use tonic::{Request, Response};

use super::convert;
use super::service::TagOutApi;
use crate::edge::caller::Incoming;
use crate::edge::checks::Checks;
use crate::work::tag_out::Reopen;
use crate::work::text::DESCRIPTION_LENGTH_MAX;
use crate::work::{self, Error};

impl TagOutApi {
    pub(super) async fn reopen(
        &self,
        request: Request<v1::ReopenTagOutRequest>,
    ) -> Result<Response<v1::ReopenTagOutResponse>, Error> {
        let incoming = Incoming::take(request, "forenoon.v1.TagOutService/ReopenTagOut")?;
        let v1::ReopenTagOutRequest {
            name,
            reopened_by,
            description,
            request_id,
        } = incoming.message.clone();
        let mut checks = Checks::new();
        let ids = checks.name("name", ["branches", "tagOuts"], &name);
        let branch = ids.as_ref().map(|[branch, _]| branch.clone());
        let known = branch.clone().unwrap_or_default();
        let reopened_by = checks
            .name("reopened_by", ["branches", "workers"], &reopened_by)
            .and_then(|_| checks.reference("reopened_by", &known, "workers", &reopened_by))
            .flatten();
        let description = checks.text("description", description, 1..=DESCRIPTION_LENGTH_MAX);
        let call = incoming.call(&mut checks, branch.as_deref(), &request_id);
        let parts = ids.zip(reopened_by).zip(description).zip(call);
        let ((([branch, id], reopened_by), description), call) = checks.finish(parts)?;
        let command = Reopen {
            branch,
            id,
            reopened_by,
            description,
        };
        self.0
            .command(&call, &command, |tagged| v1::ReopenTagOutResponse {
                affected_plans: tagged
                    .affected_plans
                    .iter()
                    .map(|plan| work::plan::name(&tagged.tag.branch_id, plan))
                    .collect(),
                tag_out: Some(convert::to_wire(
                    tagged.tag.clone(),
                    tagged.unit_display_name.clone(),
                )),
            })
            .await
    }
}
