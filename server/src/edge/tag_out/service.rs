//! The handlers: check, say who calls, run one use case, convert back.

use std::collections::BTreeMap;

use forenoon_proto::v1;
use forenoon_proto::v1::tag_out_service_server::TagOutService;
use forenoon_store::entity::{tag_out, unit};
use forenoon_store::sea_orm::{ColumnTrait, EntityTrait, QueryFilter};
use prost::Message;
use tonic::{Request, Response, Status};

use super::convert;
use crate::edge::caller::Incoming;
use crate::edge::checks::Checks;
use crate::edge::services::State;
use crate::edge::sign_in::signer;
use crate::edge::status::status;
use crate::work::tag_out::{Advance, Step, TagOut, TagOutFilter};
use crate::work::{self, Call, Error};

/// `TagOutService` over the use cases.
pub(crate) struct TagOutApi(pub(crate) State);

#[tonic::async_trait]
impl TagOutService for TagOutApi {
    async fn tag_out(
        &self,
        request: Request<v1::TagOutRequest>,
    ) -> Result<Response<v1::TagOutResponse>, Status> {
        self.tag(request).await.map_err(status)
    }

    async fn get_tag_out(
        &self,
        request: Request<v1::GetTagOutRequest>,
    ) -> Result<Response<v1::GetTagOutResponse>, Status> {
        self.get(request.into_inner()).await.map_err(status)
    }

    async fn list_tag_outs(
        &self,
        request: Request<v1::ListTagOutsRequest>,
    ) -> Result<Response<v1::ListTagOutsResponse>, Status> {
        self.list(request.into_inner()).await.map_err(status)
    }

    async fn record_diagnosis(
        &self,
        request: Request<v1::RecordDiagnosisRequest>,
    ) -> Result<Response<v1::RecordDiagnosisResponse>, Status> {
        self.diagnosis(request).await.map_err(status)
    }

    async fn record_repair(
        &self,
        request: Request<v1::RecordRepairRequest>,
    ) -> Result<Response<v1::RecordRepairResponse>, Status> {
        self.repair(request).await.map_err(status)
    }

    async fn record_inspection(
        &self,
        request: Request<v1::RecordInspectionRequest>,
    ) -> Result<Response<v1::RecordInspectionResponse>, Status> {
        self.inspection(request).await.map_err(status)
    }

    async fn release_tag_out(
        &self,
        request: Request<v1::ReleaseTagOutRequest>,
    ) -> Result<Response<v1::ReleaseTagOutResponse>, Status> {
        self.release(request).await.map_err(status)
    }

    async fn reopen_tag_out(
        &self,
        request: Request<v1::ReopenTagOutRequest>,
    ) -> Result<Response<v1::ReopenTagOutResponse>, Status> {
        self.reopen(request).await.map_err(status)
    }

    async fn render_tag_out(
        &self,
        request: Request<v1::RenderTagOutRequest>,
    ) -> Result<Response<v1::RenderTagOutResponse>, Status> {
        self.render(request.into_inner()).await.map_err(status)
    }
}

/// What all steps of a tag-out have in their requests.
struct StepRequest<'a> {
    name: &'a str,
    mechanic: &'a str,
    etag: &'a str,
    request_id: &'a str,
}

impl TagOutApi {
    async fn tag(
        &self,
        request: Request<v1::TagOutRequest>,
    ) -> Result<Response<v1::TagOutResponse>, Error> {
        let incoming = Incoming::take(request, "forenoon.v1.TagOutService/TagOut")?;
        let v1::TagOutRequest {
            parent,
            tag_out,
            request_id,
        } = incoming.message.clone();
        let mut checks = Checks::new();
        let branch = checks.name("parent", ["branches"], &parent).map(|[id]| id);
        let call = incoming.call(&mut checks, branch.as_deref(), &request_id);
        let tag = checks.required("tag_out", tag_out).and_then(|tag| {
            checks.within("tag_out", |checks| {
                convert::from_wire(checks, branch.as_deref().unwrap_or_default(), tag)
            })
        });
        let (call, tag) = checks.finish(call.zip(tag))?;
        self.0
            .command(&call, &TagOut { tag }, |tagged| v1::TagOutResponse {
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

    async fn get(
        &self,
        request: v1::GetTagOutRequest,
    ) -> Result<Response<v1::GetTagOutResponse>, Error> {
        let v1::GetTagOutRequest { name } = request;
        let mut checks = Checks::new();
        let ids = checks.name("name", ["branches", "tagOuts"], &name);
        let [branch, id] = checks.finish(ids)?;
        let row = work::tag_out::get(self.0.database.read(), &branch, &id).await?;
        let tag_out = self.named(&branch, vec![row]).await?.pop();
        Ok(Response::new(v1::GetTagOutResponse { tag_out }))
    }

    async fn list(
        &self,
        request: v1::ListTagOutsRequest,
    ) -> Result<Response<v1::ListTagOutsResponse>, Error> {
        let query = v1::ListTagOutsRequest {
            page_size: 0,
            page_token: String::new(),
            ..request.clone()
        };
        let v1::ListTagOutsRequest {
            parent,
            page_size,
            page_token,
            open_only,
            unit,
        } = request;
        let mut checks = Checks::new();
        let branch = checks.name("parent", ["branches"], &parent).map(|[id]| id);
        let page = checks.page("ListTagOuts", &query, page_size, &page_token);
        let unit = checks.reference(
            "unit",
            branch.as_deref().unwrap_or_default(),
            "units",
            &unit,
        );
        let ((branch, page), unit) = checks.finish(branch.zip(page).zip(unit))?;
        work::branch::get(self.0.database.read(), &branch).await?;
        let below = page.after_id().and_then(|number| number.parse().ok());
        let filter = TagOutFilter { open_only, unit };
        let rows = work::tag_out::list(
            self.0.database.read(),
            &branch,
            &filter,
            below,
            page.limit(),
        )
        .await?;
        let (rows, next_page_token) = page.cut(rows, |row| vec![row.number.to_string()]);
        Ok(Response::new(v1::ListTagOutsResponse {
            tag_outs: self.named(&branch, rows).await?,
            next_page_token,
        }))
    }

    /// Tags with the names of their units.
    async fn named(
        &self,
        branch: &str,
        rows: Vec<tag_out::Model>,
    ) -> Result<Vec<v1::TagOut>, Error> {
        let ids: Vec<String> = rows.iter().map(|row| row.unit_id.clone()).collect();
        let units: BTreeMap<String, String> = unit::Entity::find()
            .filter(unit::Column::BranchId.eq(branch))
            .filter(unit::Column::Id.is_in(ids))
            .all(self.0.database.read())
            .await?
            .into_iter()
            .map(|unit| (unit.id, unit.display_name))
            .collect();
        Ok(rows
            .into_iter()
            .map(|row| {
                let name = units.get(&row.unit_id).cloned().unwrap_or_default();
                convert::to_wire(row, name)
            })
            .collect())
    }

    async fn diagnosis(
        &self,
        request: Request<v1::RecordDiagnosisRequest>,
    ) -> Result<Response<v1::RecordDiagnosisResponse>, Error> {
        let incoming = Incoming::take(request, "forenoon.v1.TagOutService/RecordDiagnosis")?;
        let v1::RecordDiagnosisRequest {
            name,
            mechanic,
            diagnosis,
            waiting_for_parts,
            expected_return_time,
            etag,
            request_id,
        } = incoming.message.clone();
        let mut checks = Checks::new();
        let text = checks.text("diagnosis", diagnosis, 1..=1_000);
        let back = match expected_return_time {
            Some(back) => checks.instant("expected_return_time", back).map(Some),
            None => Some(None),
        };
        let step = text
            .zip(back)
            .map(|(text, expected_return_time)| Step::Diagnosis {
                text,
                waiting_for_parts,
                expected_return_time,
            });
        let common = StepRequest {
            name: &name,
            mechanic: &mechanic,
            etag: &etag,
            request_id: &request_id,
        };
        let (call, command) = self.advance(&incoming, checks, &common, step)?;
        self.0
            .command(&call, &command, |(row, unit)| v1::RecordDiagnosisResponse {
                tag_out: Some(convert::to_wire(row.clone(), unit.clone())),
            })
            .await
    }

    async fn repair(
        &self,
        request: Request<v1::RecordRepairRequest>,
    ) -> Result<Response<v1::RecordRepairResponse>, Error> {
        let incoming = Incoming::take(request, "forenoon.v1.TagOutService/RecordRepair")?;
        let v1::RecordRepairRequest {
            name,
            mechanic,
            repair,
            etag,
            request_id,
        } = incoming.message.clone();
        let mut checks = Checks::new();
        let step = checks
            .text("repair", repair, 1..=1_000)
            .map(|text| Step::Repair { text });
        let common = StepRequest {
            name: &name,
            mechanic: &mechanic,
            etag: &etag,
            request_id: &request_id,
        };
        let (call, command) = self.advance(&incoming, checks, &common, step)?;
        self.0
            .command(&call, &command, |(row, unit)| v1::RecordRepairResponse {
                tag_out: Some(convert::to_wire(row.clone(), unit.clone())),
            })
            .await
    }

    async fn inspection(
        &self,
        request: Request<v1::RecordInspectionRequest>,
    ) -> Result<Response<v1::RecordInspectionResponse>, Error> {
        let incoming = Incoming::take(request, "forenoon.v1.TagOutService/RecordInspection")?;
        let v1::RecordInspectionRequest {
            name,
            mechanic,
            inspection,
            passed,
            etag,
            request_id,
        } = incoming.message.clone();
        let mut checks = Checks::new();
        let step = checks
            .text("inspection", inspection, 1..=1_000)
            .map(|text| Step::Inspection { text, passed });
        let common = StepRequest {
            name: &name,
            mechanic: &mechanic,
            etag: &etag,
            request_id: &request_id,
        };
        let (call, command) = self.advance(&incoming, checks, &common, step)?;
        self.0
            .command(&call, &command, |(row, unit)| {
                v1::RecordInspectionResponse {
                    tag_out: Some(convert::to_wire(row.clone(), unit.clone())),
                }
            })
            .await
    }

    async fn release(
        &self,
        request: Request<v1::ReleaseTagOutRequest>,
    ) -> Result<Response<v1::ReleaseTagOutResponse>, Error> {
        let incoming = Incoming::take(request, "forenoon.v1.TagOutService/ReleaseTagOut")?;
        let v1::ReleaseTagOutRequest {
            name,
            mechanic,
            etag,
            request_id,
        } = incoming.message.clone();
        let common = StepRequest {
            name: &name,
            mechanic: &mechanic,
            etag: &etag,
            request_id: &request_id,
        };
        let (call, command) =
            self.advance(&incoming, Checks::new(), &common, Some(Step::Release))?;
        self.0
            .command(&call, &command, |(row, unit)| v1::ReleaseTagOutResponse {
                tag_out: Some(convert::to_wire(row.clone(), unit.clone())),
            })
            .await
    }

    /// The call and the command of a step.
    fn advance<M: Message>(
        &self,
        incoming: &Incoming<M>,
        mut checks: Checks,
        common: &StepRequest<'_>,
        step: Option<Step>,
    ) -> Result<(Call, Advance), Error> {
        let ids = checks.name("name", ["branches", "tagOuts"], common.name);
        let branch = ids.as_ref().map(|[branch, _]| branch.clone());
        let known = branch.clone().unwrap_or_default();
        let mechanic = signer(&mut checks, "mechanic", &known, common.mechanic);
        let seen = checks.etag("etag", common.etag);
        let call = incoming.call(&mut checks, branch.as_deref(), common.request_id);
        let parts = ids.zip(mechanic).zip(seen).zip(call).zip(step);
        let (((([branch, id], mechanic), seen), call), step) = checks.finish(parts)?;
        Ok((
            call,
            Advance {
                branch,
                id,
                mechanic,
                step,
                seen,
                inspector_differs: self.0.bench.inspector_differs,
            },
        ))
    }
}
