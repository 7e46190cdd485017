//! Runs searches off the async threads, a bounded number at a time, and stops them when nobody waits any more.

use std::sync::Arc;
use std::time::{Duration, Instant};

use forenoon_desk::problem::DayProblem;
use forenoon_planner::replan::{Proposal, ProposalSettings, propose};
use forenoon_planner::{Budget, Cancel, Heat, Iterations, Plan, Settings, Solved, solve};
use tokio::sync::Semaphore;
use tracing::info;

use crate::work::Error;

/// Bounds and defaults of searches.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SearchLimits {
    /// Iterations where the caller does not say.
    pub iterations_default: u64,
    /// Longest time where the caller does not say.
    pub time_default: Duration,
    /// Searches at the same time; others wait.
    pub searches_max: usize,
}

impl Default for SearchLimits {
    fn default() -> Self {
        Self {
            iterations_default: 200_000,
            time_default: Duration::from_secs(20),
            searches_max: std::thread::available_parallelism().map_or(1, usize::from),
        }
    }
}

/// How one search is to run.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SearchSettings {
    /// Source of its chance.
    pub seed: i64,
    /// Iterations; none for the server's default.
    pub iterations: Option<u64>,
    /// Longest time; none for the server's default.
    pub time: Option<Duration>,
}

/// The server's searches.
#[derive(Clone, Debug)]
pub struct Searches {
    limits: SearchLimits,
    turns: Arc<Semaphore>,
}

/// Whichever of iterations and time is over first.
struct Allowance {
    iterations: u64,
    began: Instant,
    time: Duration,
}

impl Budget for Allowance {
    fn spent(&self, iterations: u64) -> f64 {
        let by_count = iterations as f64 / self.iterations.max(1) as f64;
        let by_time =
            self.began.elapsed().as_secs_f64() / self.time.as_secs_f64().max(f64::EPSILON);
        by_count.max(by_time)
    }
}

/// Raises the flag when the caller is gone.
struct StopWhenDropped(Arc<Cancel>);

impl Drop for StopWhenDropped {
    fn drop(&mut self) {
        self.0.raise();
    }
}

impl Searches {
    /// Searches within these limits.
    pub fn new(limits: SearchLimits) -> Self {
        Self {
            limits,
            turns: Arc::new(Semaphore::new(limits.searches_max.max(1))),
        }
    }

    /// Searches for a plan. `warm` is one to start from.
    ///
    /// # Errors
    /// [`Error::GoingDown`] where the server stops.
    pub async fn run(
        &self,
        day: Arc<DayProblem>,
        settings: SearchSettings,
        warm: Option<Plan>,
    ) -> Result<Solved, Error> {
        let _turn = self.turns.acquire().await.map_err(|_| Error::GoingDown)?;
        let cancel = Arc::new(Cancel::new());
        let _stop = StopWhenDropped(Arc::clone(&cancel));
        let allowance = Allowance {
            iterations: settings
                .iterations
                .unwrap_or(self.limits.iterations_default),
            began: Instant::now(),
            time: settings.time.unwrap_or(self.limits.time_default),
        };
        let seed = settings.seed.cast_unsigned();
        let flag = Arc::clone(&cancel);
        let solved = tokio::task::spawn_blocking(move || {
            let settings = Settings {
                seed,
                budget: &allowance,
                cancel: &flag,
                warm_start: warm.as_ref(),
                // A plan that stood before takes the change in; it is not turned over.
                heat: if warm.is_some() {
                    Heat::Gentle
                } else {
                    Heat::Full
                },
            };
            let solved = solve(&day.problem, &settings, &mut |_| {});
            info!(
                iterations = solved.iterations,
                milliseconds = allowance.began.elapsed().as_millis(),
                unplanned = solved.plan.unplanned.len(),
                "searched"
            );
            solved
        })
        .await;
        solved.map_err(|error| Error::Internal(format!("the search broke off: {error}")))
    }

    /// Looks for ways to go on with a day, given the plan that stood before. Where the time is over, those found so far
    /// are the answer.
    ///
    /// # Errors
    /// [`Error::GoingDown`] where the server stops.
    pub async fn propose(
        &self,
        day: Arc<DayProblem>,
        settings: SearchSettings,
        before: Plan,
    ) -> Result<Vec<Proposal>, Error> {
        let _turn = self.turns.acquire().await.map_err(|_| Error::GoingDown)?;
        let cancel = Arc::new(Cancel::new());
        let _stop = StopWhenDropped(Arc::clone(&cancel));
        let budget = Iterations(
            settings
                .iterations
                .unwrap_or(self.limits.iterations_default),
        );
        let seed = settings.seed.cast_unsigned();
        let flag = Arc::clone(&cancel);
        let began = Instant::now();
        let search = tokio::task::spawn_blocking(move || {
            let settings = ProposalSettings {
                seed,
                budget_each: &budget,
                cancel: &flag,
            };
            let proposals = propose(&day.problem, &before, &settings);
            info!(
                milliseconds = began.elapsed().as_millis(),
                proposals = proposals.len(),
                "looked for proposals"
            );
            proposals
        });
        let late = async {
            tokio::time::sleep(settings.time.unwrap_or(self.limits.time_default)).await;
            cancel.raise();
            std::future::pending::<()>().await;
        };
        let proposals = tokio::select! {
            found = search => found,
            () = late => return Err(Error::GoingDown),
        };
        proposals.map_err(|error| Error::Internal(format!("the search broke off: {error}")))
    }
}
