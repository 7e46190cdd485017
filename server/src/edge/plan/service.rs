//! The handlers: check, say who calls, run one use case, convert back.

use std::time::Duration;

use chrono::NaiveDate;
use forenoon_proto::google::r#type::Date;
use forenoon_proto::v1;
use forenoon_proto::v1::plan_service_server::PlanService;
use forenoon_store::value::UnitSystem;
use forenoon_store::{GuardRule, StoreError};
use tonic::{Request, Response, Status};

use super::{convert, disruption, matrix, sheet, words};
use crate::edge::caller::{Incoming, actor};
use crate::edge::checks::Checks;
use crate::edge::heat;
use crate::edge::services::State;
use crate::edge::status::status;
use crate::work::plan::{
    AcceptProposal, DiscardPlan, Held, PlanFilter, PlanRequest, PublishPlan, ReplanRequest,
    SearchSettings, StorePlan, StoreProposals, plan_scope, replan_scope,
};
use crate::work::{self, Call, Error, ObstacleKind};

/// Most iterations one search may have.
const ITERATIONS_MAX: i64 = 100_000_000;
/// Iterations of each strategy of a re-plan where the caller does not say.
const REPLAN_ITERATIONS: u64 = 80;
/// Of a hundred tasks so many keep within what is planned for them: the median, and the most that can be asked for.
const CONFIDENCE_PERCENT: (i32, i32) = (50, 95);
/// Longest time one search may have.
const SECONDS_MAX: i32 = 600;
/// Searches for one call, where units are tagged out while they run.
const ATTEMPTS_MAX: u32 = 3;

/// Whether a search is to begin.
enum Turn<A> {
    /// It was done before; this is the answer given then.
    Answered(Response<A>),
    /// It is to begin, under this lease.
    Held(Held),
}

/// `PlanService` over the use cases.
pub(crate) struct PlanApi(pub(crate) State);

#[tonic::async_trait]
impl PlanService for PlanApi {
    async fn plan_day(
        &self,
        request: Request<v1::PlanDayRequest>,
    ) -> Result<Response<v1::PlanDayResponse>, Status> {
        self.plan_the_day(request).await.map_err(status)
    }

    async fn get_plan(
        &self,
        request: Request<v1::GetPlanRequest>,
    ) -> Result<Response<v1::GetPlanResponse>, Status> {
        self.get(request.into_inner()).await.map_err(status)
    }

    async fn get_published_plan(
        &self,
        request: Request<v1::GetPublishedPlanRequest>,
    ) -> Result<Response<v1::GetPublishedPlanResponse>, Status> {
        self.published(request.into_inner()).await.map_err(status)
    }

    async fn list_plans(
        &self,
        request: Request<v1::ListPlansRequest>,
    ) -> Result<Response<v1::ListPlansResponse>, Status> {
        self.list(request.into_inner()).await.map_err(status)
    }

    async fn publish_plan(
        &self,
        request: Request<v1::PublishPlanRequest>,
    ) -> Result<Response<v1::PublishPlanResponse>, Status> {
        self.publish(request).await.map_err(status)
    }

    async fn discard_plan(
        &self,
        request: Request<v1::DiscardPlanRequest>,
    ) -> Result<Response<v1::DiscardPlanResponse>, Status> {
        self.discard(request).await.map_err(status)
    }

    async fn propose_replan(
        &self,
        request: Request<v1::ProposeReplanRequest>,
    ) -> Result<Response<v1::ProposeReplanResponse>, Status> {
        Box::pin(self.propose(request)).await.map_err(status)
    }

    async fn accept_proposal(
        &self,
        request: Request<v1::AcceptProposalRequest>,
    ) -> Result<Response<v1::AcceptProposalResponse>, Status> {
        self.accept(request).await.map_err(status)
    }

    async fn list_crew_sheets(
        &self,
        request: Request<v1::ListCrewSheetsRequest>,
    ) -> Result<Response<v1::ListCrewSheetsResponse>, Status> {
        self.sheets(request.into_inner()).await.map_err(status)
    }

    async fn try_change(
        &self,
        request: Request<v1::TryChangeRequest>,
    ) -> Result<Response<v1::TryChangeResponse>, Status> {
        self.try_one(request.into_inner()).await.map_err(status)
    }

    async fn assess_plan(
        &self,
        request: Request<v1::AssessPlanRequest>,
    ) -> Result<Response<v1::AssessPlanResponse>, Status> {
        self.assess(request.into_inner()).await.map_err(status)
    }
}

impl PlanApi {
    async fn system(&self, branch: &str) -> Result<UnitSystem, Error> {
        Ok(work::branch::get(self.0.database.read(), branch)
            .await?
            .unit_system)
    }

    async fn plan_the_day(
        &self,
        request: Request<v1::PlanDayRequest>,
    ) -> Result<Response<v1::PlanDayResponse>, Error> {
        let actor = actor(request.metadata())?;
        let incoming = Incoming::take(request, "forenoon.v1.PlanService/PlanDay")?;
        let v1::PlanDayRequest {
            parent,
            day,
            seed,
            iterations,
            time_limit,
            request_id,
            travel_matrix,
            heat,
            confidence_percent,
            meetings,
        } = incoming.message.clone();
        let mut checks = Checks::new();
        let branch = checks.name("parent", ["branches"], &parent).map(|[id]| id);
        let day = required_day(&mut checks, day);
        let confidence = match confidence_percent {
            0 => Some(CONFIDENCE_PERCENT.0),
            told => {
                let (least, most) = CONFIDENCE_PERCENT;
                checks.whole("confidence_percent", told, least..=most)
            }
        };
        let iterations = iterations_of(&mut checks, iterations);
        let time = checks.seconds("time_limit", time_limit, SECONDS_MAX);
        let drives = matrix::drives(
            &mut checks,
            branch.as_deref().unwrap_or_default(),
            travel_matrix,
        );
        let heat = heat::from_wire(&mut checks, heat);
        let call = incoming.call(&mut checks, branch.as_deref(), &request_id);
        let parts = branch
            .zip(day)
            .zip(iterations)
            .zip(time)
            .zip(drives)
            .zip(heat)
            .zip(confidence)
            .zip(call);
        let (((((((branch, day), iterations), time), drives), heat), confidence_percent), call) =
            checks.finish(parts)?;
        let stored = work::branch::get(self.0.database.read(), &branch).await?;
        let system = stored.unit_system;
        let time = u64::try_from(time)
            .ok()
            .filter(|time| *time > 0)
            .map(Duration::from_secs);
        let plan = PlanRequest {
            branch,
            day,
            service_due_keeps_in: self.0.bench.service_due_keeps_in,
            drives,
            heat,
            confidence_percent,
            meetings,
            settings: SearchSettings {
                seed,
                iterations: chosen(iterations),
                time,
            },
            actor,
        };
        let held = match self.lease(&call, plan_scope(day)).await? {
            Turn::Answered(answer) => return Ok(answer),
            Turn::Held(held) => held,
        };
        self.while_units_are_tagged(|| async {
            let state = &self.0;
            // Large while it waits, as all futures around it would be.
            let made = Box::pin(work::plan::make(
                &state.database,
                state.planning(),
                state.clock.now(),
                &plan,
            ));
            let command = StorePlan {
                draft: held.while_held(made).await?,
                lease: held.lease().clone(),
                branch: stored.clone(),
            };
            self.0
                .command(&call, &command, |stored| v1::PlanDayResponse {
                    plan: Some(convert::whole(stored, system)),
                })
                .await
        })
        .await
    }

    /// Waits for the turn to search, among all servers. A retry that was answered meanwhile gets that answer.
    async fn lease<A>(&self, call: &Call, scope: String) -> Result<Turn<A>, Error>
    where
        A: prost::Message + Default,
    {
        if let Some(answer) = self.0.answered(call).await? {
            return Ok(Turn::Answered(answer));
        }
        let held = self.0.leases.hold(&call.branch, &scope).await?;
        Ok(match self.0.answered(call).await? {
            Some(answer) => Turn::Answered(answer),
            None => Turn::Held(held),
        })
    }

    /// Searches again where a unit was tagged out while the search ran: the database has refused its plan.
    async fn while_units_are_tagged<A, F>(&self, attempt: impl Fn() -> F) -> Result<A, Error>
    where
        F: Future<Output = Result<A, Error>>,
    {
        let mut left = ATTEMPTS_MAX;
        loop {
            left -= 1;
            match attempt().await {
                Err(Error::Store(StoreError::Guard(GuardRule::UnitTaggedOut))) if left > 0 => {}
                Err(Error::Obstructed(obstacles))
                    if left > 0
                        && obstacles
                            .iter()
                            .all(|one| one.kind == ObstacleKind::UnitLimited) => {}
                outcome => return outcome,
            }
        }
    }

    async fn get(
        &self,
        request: v1::GetPlanRequest,
    ) -> Result<Response<v1::GetPlanResponse>, Error> {
        let v1::GetPlanRequest { name } = request;
        let mut checks = Checks::new();
        let ids = checks.name("name", ["branches", "plans"], &name);
        let [branch, id] = checks.finish(ids)?;
        let transaction = self.0.database.begin_read().await?;
        let stored = work::plan::load(&transaction, &branch, &id).await?;
        transaction.commit().await?;
        let plan = Some(convert::whole(&stored, self.system(&branch).await?));
        Ok(Response::new(v1::GetPlanResponse { plan }))
    }

    async fn published(
        &self,
        request: v1::GetPublishedPlanRequest,
    ) -> Result<Response<v1::GetPublishedPlanResponse>, Error> {
        let v1::GetPublishedPlanRequest { parent, day } = request;
        let mut checks = Checks::new();
        let branch = checks.name("parent", ["branches"], &parent).map(|[id]| id);
        let day = required_day(&mut checks, day);
        let (branch, day) = checks.finish(branch.zip(day))?;
        let system = self.system(&branch).await?;
        let transaction = self.0.database.begin_read().await?;
        let stored = work::plan::published(&transaction, &branch, day).await?;
        transaction.commit().await?;
        let stored = stored.ok_or_else(|| {
            Error::not_found(format!("a published plan of branches/{branch} for {day}"))
        })?;
        let plan = Some(convert::whole(&stored, system));
        Ok(Response::new(v1::GetPublishedPlanResponse { plan }))
    }

    async fn list(
        &self,
        request: v1::ListPlansRequest,
    ) -> Result<Response<v1::ListPlansResponse>, Error> {
        let query = v1::ListPlansRequest {
            page_size: 0,
            page_token: String::new(),
            ..request.clone()
        };
        let v1::ListPlansRequest {
            parent,
            page_size,
            page_token,
            day,
            state,
        } = request;
        let mut checks = Checks::new();
        let branch = checks.name("parent", ["branches"], &parent).map(|[id]| id);
        let page = checks.page("ListPlans", &query, page_size, &page_token);
        let day = match day {
            Some(day) => checks.date("day", day).map(Some),
            None => Some(None),
        };
        let state = checks.word("state", state, Some(None), |word| {
            words::state_from_wire(word).map(Some)
        });
        let parts = branch.zip(page).zip(day).zip(state);
        let (((branch, page), day), state) = checks.finish(parts)?;
        let system = self.system(&branch).await?;
        let after = page.after.as_deref().and_then(|key| match key {
            [day, revision] => Some((day.parse().ok()?, revision.parse().ok()?)),
            _ => None,
        });
        let filter = PlanFilter { day, state };
        let rows = work::plan::list(
            self.0.database.read(),
            &branch,
            &filter,
            after,
            page.limit(),
        )
        .await?;
        let (rows, next_page_token) = page.cut(rows, |row| {
            vec![row.day.to_string(), row.day_revision.to_string()]
        });
        Ok(Response::new(v1::ListPlansResponse {
            plans: rows
                .into_iter()
                .map(|row| convert::summary(row, system))
                .collect(),
            next_page_token,
        }))
    }

    async fn publish(
        &self,
        request: Request<v1::PublishPlanRequest>,
    ) -> Result<Response<v1::PublishPlanResponse>, Error> {
        let incoming = Incoming::take(request, "forenoon.v1.PlanService/PublishPlan")?;
        let v1::PublishPlanRequest {
            name,
            etag,
            request_id,
        } = incoming.message.clone();
        let (call, [branch, id], seen) = plan_call(&incoming, &name, &etag, &request_id)?;
        let system = self.system(&branch).await?;
        self.0
            .command(&call, &PublishPlan { branch, id, seen }, |stored| {
                v1::PublishPlanResponse {
                    plan: Some(convert::whole(stored, system)),
                }
            })
            .await
    }

    async fn discard(
        &self,
        request: Request<v1::DiscardPlanRequest>,
    ) -> Result<Response<v1::DiscardPlanResponse>, Error> {
        let incoming = Incoming::take(request, "forenoon.v1.PlanService/DiscardPlan")?;
        let v1::DiscardPlanRequest {
            name,
            etag,
            request_id,
        } = incoming.message.clone();
        let (call, [branch, id], seen) = plan_call(&incoming, &name, &etag, &request_id)?;
        let system = self.system(&branch).await?;
        self.0
            .command(&call, &DiscardPlan { branch, id, seen }, |stored| {
                v1::DiscardPlanResponse {
                    plan: Some(convert::whole(stored, system)),
                }
            })
            .await
    }

    async fn propose(
        &self,
        request: Request<v1::ProposeReplanRequest>,
    ) -> Result<Response<v1::ProposeReplanResponse>, Error> {
        let actor = actor(request.metadata())?;
        let incoming = Incoming::take(request, "forenoon.v1.PlanService/ProposeReplan")?;
        let v1::ProposeReplanRequest {
            parent,
            day,
            from_time,
            cause,
            seed,
            iterations,
            request_id,
            disruptions,
            travel_matrix,
            heat,
        } = incoming.message.clone();
        let mut checks = Checks::new();
        let branch = checks.name("parent", ["branches"], &parent).map(|[id]| id);
        let day = required_day(&mut checks, day);
        let known = branch.clone().unwrap_or_default();
        let disruptions = disruption::from_wire(&mut checks, &known, disruptions);
        let from = match from_time {
            Some(from) => checks.instant("from_time", from).map(Some),
            None => Some(None),
        };
        let cause = checks.text("cause", cause, 0..=500);
        let iterations = iterations_of(&mut checks, iterations);
        let drives = matrix::drives(
            &mut checks,
            branch.as_deref().unwrap_or_default(),
            travel_matrix,
        );
        let heat = heat::from_wire(&mut checks, heat);
        let call = incoming.call(&mut checks, branch.as_deref(), &request_id);
        let parts = branch
            .zip(day)
            .zip(from)
            .zip(cause)
            .zip(iterations)
            .zip(disruptions)
            .zip(drives)
            .zip(heat)
            .zip(call);
        let ((((((((branch, day), from), cause), iterations), disruptions), drives), heat), call) =
            checks.finish(parts)?;
        let stored = work::branch::get(self.0.database.read(), &branch).await?;
        let replan = ReplanRequest {
            branch,
            day,
            from,
            cause,
            disruptions,
            service_due_keeps_in: self.0.bench.service_due_keeps_in,
            drives,
            heat,
            settings: SearchSettings {
                seed,
                // A re-plan begins from a plan that stands, and somebody waits for it.
                iterations: Some(chosen(iterations).unwrap_or(REPLAN_ITERATIONS)),
                time: None,
            },
            actor,
        };
        let held = match self.lease(&call, replan_scope(day)).await? {
            Turn::Answered(answer) => return Ok(answer),
            Turn::Held(held) => held,
        };
        self.while_units_are_tagged(|| async {
            let state = &self.0;
            let made = work::plan::propose(
                &state.database,
                state.planning(),
                state.clock.now(),
                &replan,
            );
            let command = StoreProposals {
                drafts: held.while_held(made).await?,
                lease: held.lease().clone(),
            };
            self.0
                .command(&call, &command, |proposals| v1::ProposeReplanResponse {
                    proposals: proposals
                        .iter()
                        .map(|one| convert::proposal(one, &stored))
                        .collect(),
                })
                .await
        })
        .await
    }

    async fn accept(
        &self,
        request: Request<v1::AcceptProposalRequest>,
    ) -> Result<Response<v1::AcceptProposalResponse>, Error> {
        let incoming = Incoming::take(request, "forenoon.v1.PlanService/AcceptProposal")?;
        let v1::AcceptProposalRequest {
            name,
            etag,
            request_id,
        } = incoming.message.clone();
        let (call, [branch, id], seen) = plan_call(&incoming, &name, &etag, &request_id)?;
        let system = self.system(&branch).await?;
        self.0
            .command(&call, &AcceptProposal { branch, id, seen }, |stored| {
                v1::AcceptProposalResponse {
                    plan: Some(convert::whole(stored, system)),
                }
            })
            .await
    }

    async fn sheets(
        &self,
        request: v1::ListCrewSheetsRequest,
    ) -> Result<Response<v1::ListCrewSheetsResponse>, Error> {
        let v1::ListCrewSheetsRequest { plan, crew } = request;
        let mut checks = Checks::new();
        let ids = checks.name("plan", ["branches", "plans"], &plan);
        let branch = ids
            .as_ref()
            .map(|[branch, _]| branch.clone())
            .unwrap_or_default();
        let crew = checks.reference("crew", &branch, "crews", &crew);
        let ([branch, id], crew) = checks.finish(ids.zip(crew))?;
        let system = self.system(&branch).await?;
        let transaction = self.0.database.begin_read().await?;
        let (stored, sheets) =
            work::plan::sheets(&transaction, &branch, &id, crew.as_deref()).await?;
        transaction.commit().await?;
        Ok(Response::new(v1::ListCrewSheetsResponse {
            crew_sheets: sheets
                .into_iter()
                .map(|one| sheet::sheet(&stored, one, system))
                .collect(),
        }))
    }
}

fn required_day(checks: &mut Checks, day: Option<Date>) -> Option<NaiveDate> {
    let day = checks.required("day", day)?;
    checks.date("day", day)
}

/// Iterations asked for; 0 for the server's own.
pub(super) fn iterations_of(checks: &mut Checks, iterations: i64) -> Option<u64> {
    match u64::try_from(iterations) {
        Ok(wanted) if iterations <= ITERATIONS_MAX => Some(wanted),
        _ => checks.fault(
            "iterations",
            work::Reason::OutOfRange,
            format!("is {iterations}; give 0 to {ITERATIONS_MAX}"),
        ),
    }
}

/// What a caller leaves at 0 is for the server to choose.
pub(super) fn chosen(iterations: u64) -> Option<u64> {
    (iterations > 0).then_some(iterations)
}

/// A command on one plan: the call, the plan's ids and what the caller has seen of it.
fn plan_call<M: prost::Message>(
    incoming: &Incoming<M>,
    name: &str,
    etag: &str,
    request_id: &str,
) -> Result<(Call, [String; 2], Option<work::Seen>), Error> {
    let mut checks = Checks::new();
    let ids = checks.name("name", ["branches", "plans"], name);
    let seen = checks.etag("etag", etag);
    let branch = ids.as_ref().map(|[branch, _]| branch.as_str());
    let call = incoming.call(&mut checks, branch, request_id);
    let ((call, ids), seen) = checks.finish(call.zip(ids).zip(seen))?;
    Ok((call, ids, seen))
}
