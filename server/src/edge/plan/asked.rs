//! What is asked of a plan as it stands, and stores nothing: its chances, and what a change would bring.

use forenoon_proto::v1;
use tonic::Response;

use super::service::{PlanApi, chosen, iterations_of};
use super::{chances, changed};
use crate::edge::checks::Checks;
use crate::work::plan::{AssessRequest, SearchSettings, TryRequest};
use crate::work::{self, Error};

/// Iterations of each search for what a change brings where the caller does not say.
const TRIAL_ITERATIONS: u64 = 20_000;
/// Most runs of one assessment.
const RUNS_MAX: i32 = 10_000;
/// Runs where the caller does not say.
const RUNS_DEFAULT: u32 = 1_000;

impl PlanApi {
    pub(super) async fn try_one(
        &self,
        request: v1::TryChangeRequest,
    ) -> Result<Response<v1::TryChangeResponse>, Error> {
        let v1::TryChangeRequest {
            name,
            change,
            iterations,
            seed,
        } = request;
        let mut checks = Checks::new();
        let ids = checks.name("name", ["branches", "plans"], &name);
        let branch = ids.as_ref().map_or("", |[branch, _]| branch.as_str());
        let change = changed::from_wire(&mut checks, branch, change);
        let iterations = iterations_of(&mut checks, iterations);
        let (([branch, plan], change), iterations) =
            checks.finish(ids.zip(change).zip(iterations))?;
        let request = TryRequest {
            branch,
            plan,
            change,
            settings: SearchSettings {
                seed,
                iterations: Some(chosen(iterations).unwrap_or(TRIAL_ITERATIONS)),
                time: None,
            },
            service_due_keeps_in: self.0.bench.service_due_keeps_in,
        };
        let state = &self.0;
        let tried = work::plan::try_change(
            &state.database,
            state.planning(),
            state.clock.now(),
            &request,
        )
        .await?;
        Ok(Response::new(changed::to_wire(&request, &tried)))
    }

    pub(super) async fn assess(
        &self,
        request: v1::AssessPlanRequest,
    ) -> Result<Response<v1::AssessPlanResponse>, Error> {
        let v1::AssessPlanRequest { name, runs, seed } = request;
        let mut checks = Checks::new();
        let ids = checks.name("name", ["branches", "plans"], &name);
        let runs = checks.whole("runs", runs, 0..=RUNS_MAX);
        let ([branch, plan], runs) = checks.finish(ids.zip(runs))?;
        let request = AssessRequest {
            branch,
            plan,
            runs: if runs > 0 {
                runs.unsigned_abs()
            } else {
                RUNS_DEFAULT
            },
            seed,
            service_due_keeps_in: self.0.bench.service_due_keeps_in,
        };
        let state = &self.0;
        let assessed = work::plan::assess(
            &state.database,
            state.planning(),
            state.clock.now(),
            &request,
        )
        .await?;
        Ok(Response::new(chances::to_wire(&assessed, request.runs)))
    }
}
