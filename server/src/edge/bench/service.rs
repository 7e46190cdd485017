//! The handlers: check, say who calls, run one use case, convert back.

use std::ops::RangeInclusive;

use forenoon_desk::upkeep::{SOURCE, Upkeep};
use forenoon_proto::v1;
use forenoon_proto::v1::bench_service_server::BenchService;
use forenoon_store::entity::unit_service;
use tonic::{Request, Response, Status};

use crate::edge::caller::Incoming;
use crate::edge::checks::Checks;
use crate::edge::name::in_branch;
use crate::edge::services::State;
use crate::edge::sign_in::signer;
use crate::edge::status::status;
use crate::edge::{money, tag_out, time};
use crate::work::bench::{
    Costs, Due, History, Queue, RecordService, UnitCost, cost, history, queue,
};
use crate::work::{self, Error, Reason};

/// An hour a year to all of them.
const HOURS_A_YEAR: RangeInclusive<f64> = 1.0..=8_784.0;

/// `BenchService` over the use cases.
pub(crate) struct BenchApi(pub(crate) State);

#[tonic::async_trait]
impl BenchService for BenchApi {
    async fn list_bench_queue(
        &self,
        request: Request<v1::ListBenchQueueRequest>,
    ) -> Result<Response<v1::ListBenchQueueResponse>, Status> {
        self.queue(request.into_inner()).await.map_err(status)
    }

    async fn get_unit_history(
        &self,
        request: Request<v1::GetUnitHistoryRequest>,
    ) -> Result<Response<v1::GetUnitHistoryResponse>, Status> {
        self.history(request.into_inner()).await.map_err(status)
    }

    async fn get_unit_cost(
        &self,
        request: Request<v1::GetUnitCostRequest>,
    ) -> Result<Response<v1::GetUnitCostResponse>, Status> {
        self.cost(request.into_inner()).await.map_err(status)
    }

    async fn record_service(
        &self,
        request: Request<v1::RecordServiceRequest>,
    ) -> Result<Response<v1::RecordServiceResponse>, Status> {
        self.service(request).await.map_err(status)
    }
}

impl BenchApi {
    async fn queue(
        &self,
        request: v1::ListBenchQueueRequest,
    ) -> Result<Response<v1::ListBenchQueueResponse>, Error> {
        let v1::ListBenchQueueRequest { parent } = request;
        let mut checks = Checks::new();
        let branch = checks.name("parent", ["branches"], &parent).map(|[id]| id);
        let branch = checks.finish(branch)?;
        let transaction = self.0.database.begin_read().await?;
        let Queue {
            items,
            services_due,
        } = queue(&transaction, &branch, self.0.clock.now()).await?;
        transaction.commit().await?;
        Ok(Response::new(v1::ListBenchQueueResponse {
            items: items
                .into_iter()
                .map(|(want, tag, unit, since)| v1::BenchItem {
                    tag_out: Some(tag_out::to_wire(tag, unit)),
                    next_need_time: want.next_need.map(time::timestamp),
                    jobs_without_substitute: count(want.jobs_without_substitute),
                    jobs_left_out: count(want.jobs_left_out),
                    planned_stops: count(want.planned_stops),
                    late: want.late,
                    hours_since_service: since,
                })
                .collect(),
            services_due: services_due
                .into_iter()
                .map(|Due { unit, hours_left }| v1::ServiceDue {
                    unit: in_branch(&branch, "units", &unit.id),
                    unit_display_name: unit.display_name,
                    hours_left,
                    kept_in: hours_left <= 0.0 && self.0.bench.service_due_keeps_in,
                })
                .collect(),
        }))
    }

    async fn history(
        &self,
        request: v1::GetUnitHistoryRequest,
    ) -> Result<Response<v1::GetUnitHistoryResponse>, Error> {
        let v1::GetUnitHistoryRequest { unit } = request;
        let mut checks = Checks::new();
        let ids = checks.name("unit", ["branches", "units"], &unit);
        let [branch, id] = checks.finish(ids)?;
        let transaction = self.0.database.begin_read().await?;
        let History {
            unit,
            tags,
            services,
            life_hours,
            hours_since_service,
            failures,
            mean_hours_between_failures,
            mean_time_to_repair,
        } = history(&transaction, &branch, &id).await?;
        transaction.commit().await?;
        Ok(Response::new(v1::GetUnitHistoryResponse {
            tag_outs: tags
                .into_iter()
                .map(|tag| tag_out::to_wire(tag, unit.display_name.clone()))
                .collect(),
            services: services.into_iter().map(service_to_wire).collect(),
            effective_hours: life_hours,
            hours_since_service,
            failures: i32::try_from(failures).unwrap_or(i32::MAX),
            mean_hours_between_failures: mean_hours_between_failures.unwrap_or(0.0),
            mean_time_to_repair: mean_time_to_repair.map(|mean| time::duration(mean.num_seconds())),
        }))
    }

    async fn cost(
        &self,
        request: v1::GetUnitCostRequest,
    ) -> Result<Response<v1::GetUnitCostResponse>, Error> {
        let v1::GetUnitCostRequest {
            unit,
            hours_a_year,
            successor_price,
        } = request;
        let mut checks = Checks::new();
        let ids = checks.name("unit", ["branches", "units"], &unit);
        let hours_a_year = if hours_a_year == 0.0 {
            Some(None)
        } else {
            checks
                .number("hours_a_year", hours_a_year, HOURS_A_YEAR)
                .map(Some)
        };
        let parts = checks.finish(ids.zip(hours_a_year))?;
        let ([branch, unit], hours_a_year) = parts;
        let transaction = self.0.database.begin_read().await?;
        let currency_code = work::branch::get(&transaction, &branch)
            .await?
            .currency_code;
        let mut checks = Checks::new();
        let successor = checks.money("successor_price", successor_price, &currency_code);
        if successor == Some(Some(0)) {
            let words = "is nothing; give what a successor costs, or leave it out";
            checks.fault::<()>("successor_price", Reason::OutOfRange, words);
        }
        let asked = UnitCost {
            branch,
            unit,
            hours_a_year,
            successor_minor: checks.finish(successor)?,
        };
        let told = cost(&transaction, &asked).await?;
        transaction.commit().await?;
        Ok(Response::new(cost_to_wire(&told, &currency_code)))
    }

    async fn service(
        &self,
        request: Request<v1::RecordServiceRequest>,
    ) -> Result<Response<v1::RecordServiceResponse>, Error> {
        let incoming = Incoming::take(request, "forenoon.v1.BenchService/RecordService")?;
        let v1::RecordServiceRequest {
            unit,
            mechanic,
            work,
            service_time,
            request_id,
        } = incoming.message.clone();
        let mut checks = Checks::new();
        let ids = checks.name("unit", ["branches", "units"], &unit);
        let branch = ids.as_ref().map(|[branch, _]| branch.clone());
        let known = branch.clone().unwrap_or_default();
        let mechanic = signer(&mut checks, "mechanic", &known, &mechanic);
        let work = checks.text("work", work, 1..=1_000);
        let when = match service_time {
            Some(when) => checks.instant("service_time", when).map(Some),
            None => Some(None),
        };
        let call = incoming.call(&mut checks, branch.as_deref(), &request_id);
        let parts = ids.zip(mechanic).zip(work).zip(when).zip(call);
        let (((([branch, unit], mechanic), work), service_time), call) = checks.finish(parts)?;
        let command = RecordService {
            branch,
            unit,
            mechanic,
            work,
            service_time,
        };
        self.0
            .command(&call, &command, |row| v1::RecordServiceResponse {
                service: Some(service_to_wire(row.clone())),
            })
            .await
    }
}

fn cost_to_wire(told: &Costs, currency_code: &str) -> v1::GetUnitCostResponse {
    let Costs {
        upkeep,
        hours_since_service,
        service_left_hours,
    } = told;
    let Upkeep {
        life_hours,
        hours_a_year,
        age_years,
        repair_minor,
        value_minor,
        per_effective_hour_minor,
        best_years,
        next_year_minor,
        successor_year_minor,
        replace,
    } = upkeep;
    let amount = |minor: &i64| Some(money::money(*minor, currency_code));
    v1::GetUnitCostResponse {
        effective_hours: *life_hours,
        hours_a_year: *hours_a_year,
        age_years: *age_years,
        hours_since_service: *hours_since_service,
        service_left_hours: service_left_hours.unwrap_or(0.0),
        repair: amount(repair_minor),
        value: amount(value_minor),
        per_effective_hour: amount(per_effective_hour_minor),
        best_years: i32::from(*best_years),
        next_year: amount(next_year_minor),
        successor_year: amount(successor_year_minor),
        replace: *replace,
        source: SOURCE.to_owned(),
    }
}

fn service_to_wire(row: unit_service::Model) -> v1::ServiceRecord {
    let unit_service::Model {
        branch_id,
        id: _,
        unit_id: _,
        mechanic_id,
        work,
        effective_hours,
        service_time,
        create_time: _,
    } = row;
    v1::ServiceRecord {
        service_time: Some(time::timestamp(service_time)),
        mechanic: in_branch(&branch_id, "workers", &mechanic_id),
        work,
        effective_hours,
    }
}

fn count(count: usize) -> i32 {
    i32::try_from(count).unwrap_or(i32::MAX)
}
