//! Runs searches off the async threads, a bounded number at a time, and stops them when nobody waits any more.

use std::sync::{Arc, OnceLock};
use std::time::{Duration, Instant};

use forenoon_planner::replan::{Proposal, ProposalSettings, adjust, propose};
use forenoon_planner::value::{TrialSettings, Value, WhatIf, what_if};
use forenoon_planner::{
    Budget, Cancel, Heat, Iterations, Plan, Problem, Settings, Solved, solve_on,
};
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
    /// Searches for plans at the same time, and as many for proposals; others wait.
    pub searches_max: usize,
    /// Threads of one search for a plan.
    pub threads: usize,
}

impl Default for SearchLimits {
    fn default() -> Self {
        Self {
            iterations_default: 200_000,
            time_default: Duration::from_secs(20),
            searches_max: std::thread::available_parallelism().map_or(1, usize::from),
            threads: 1,
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

/// What is searched for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wanted {
    /// A plan of a day, which may take its time.
    Plan,
    /// Proposals for a day under way, which somebody waits for beside a broken machine, and what takes no longer.
    Proposals,
}

/// The server's searches.
#[derive(Clone, Debug)]
pub struct Searches {
    limits: SearchLimits,
    /// Of plans and of proposals, which do not wait for each other.
    turns: [Arc<Semaphore>; 2],
}

/// Whichever of iterations and time is over first.
///
/// The search goes by how much is spent, and not only by whether all is. Where the caller says how many iterations, time
/// must not show in the plan as long as it suffices; where nobody does, a search that time will end goes by time.
struct Allowance {
    iterations: u64,
    goes_by_count: bool,
    time: Duration,
    /// Where nothing is said, when it is first asked.
    began: OnceLock<Instant>,
}

impl Allowance {
    /// Since it began.
    fn elapsed(&self) -> Duration {
        self.began.get_or_init(Instant::now).elapsed()
    }
}

impl Budget for Allowance {
    fn spent(&self, iterations: u64) -> f64 {
        let by_count = iterations as f64 / self.iterations.max(1) as f64;
        let by_time = self.elapsed().as_secs_f64() / self.time.as_secs_f64().max(f64::EPSILON);
        if self.goes_by_count && by_time < 1.0 {
            by_count
        } else {
            by_count.max(by_time)
        }
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
        let turns = || Arc::new(Semaphore::new(limits.searches_max.max(1)));
        Self {
            limits,
            turns: [turns(), turns()],
        }
    }

    /// Works off the async threads once it is this caller's turn: making the problem, searching, and telling what came
    /// of it all take the processor. A caller who is gone stops the search.
    ///
    /// # Errors
    /// [`Error::GoingDown`] where the server stops, and those of the work.
    pub async fn turn<T: Send + 'static>(
        &self,
        wanted: Wanted,
        settings: SearchSettings,
        work: impl FnOnce(&Turn) -> Result<T, Error> + Send + 'static,
    ) -> Result<T, Error> {
        let [plans, proposals] = &self.turns;
        let turns = match wanted {
            Wanted::Plan => plans,
            Wanted::Proposals => proposals,
        };
        let _turn = turns.acquire().await.map_err(|_| Error::GoingDown)?;
        let turn = Turn {
            seed: settings.seed.cast_unsigned(),
            goes_by_count: settings.iterations.is_some(),
            iterations: settings
                .iterations
                .unwrap_or(self.limits.iterations_default),
            time: settings.time.unwrap_or(self.limits.time_default),
            threads: self.limits.threads,
            cancel: Arc::new(Cancel::new()),
        };
        let _stop = StopWhenDropped(Arc::clone(&turn.cancel));
        tokio::task::spawn_blocking(move || work(&turn))
            .await
            .map_err(|error| Error::Internal(format!("the search broke off: {error}")))?
    }
}

/// A search whose turn it is.
pub struct Turn {
    seed: u64,
    iterations: u64,
    /// Whether the caller said how many.
    goes_by_count: bool,
    time: Duration,
    threads: usize,
    cancel: Arc<Cancel>,
}

impl Turn {
    /// What a search that begins now may take.
    fn allowance(&self) -> Allowance {
        Allowance {
            iterations: self.iterations,
            goes_by_count: self.goes_by_count,
            time: self.time,
            began: OnceLock::from(Instant::now()),
        }
    }

    /// What each of two searches may take, the second of which begins when the first is done.
    fn allowances(&self) -> [Allowance; 2] {
        [(); 2].map(|()| Allowance {
            iterations: self.iterations,
            goes_by_count: self.goes_by_count,
            time: self.time / 2,
            began: OnceLock::new(),
        })
    }

    /// Raised when the caller is gone.
    pub fn cancel(&self) -> &Cancel {
        &self.cancel
    }

    /// Whether anybody waits for what comes of it.
    ///
    /// # Errors
    /// One that nobody reads, where nobody does.
    pub fn is_awaited(&self) -> Result<(), Error> {
        if self.cancel.is_raised() {
            return Err(Error::Internal("the caller is gone".to_owned()));
        }
        Ok(())
    }

    /// Searches for a plan.
    pub fn plan(&self, problem: &Problem) -> Solved {
        let allowance = self.allowance();
        let settings = Settings {
            seed: self.seed,
            budget: &allowance,
            cancel: &self.cancel,
            warm_start: None,
            heat: Heat::Full,
        };
        let solved = solve_on(problem, &settings, self.threads, &mut |_| {});
        info!(
            iterations = solved.iterations,
            milliseconds = allowance.elapsed().as_millis(),
            unplanned = solved.plan.unplanned.len(),
            "searched"
        );
        solved
    }

    /// Fits the plan that stood before into a problem that has changed.
    pub fn adjusted(&self, problem: &Problem, before: &Plan) -> Proposal {
        self.fitted(problem, before, &self.allowance())
    }

    /// The plan that stood before as it is in a problem that has changed, without a search.
    pub fn as_it_stands(&self, problem: &Problem, before: &Plan) -> Plan {
        self.fitted(problem, before, &Iterations(0)).plan
    }

    fn fitted(&self, problem: &Problem, before: &Plan, budget_each: &dyn Budget) -> Proposal {
        let settings = ProposalSettings {
            seed: self.seed,
            budget_each,
            cancel: &self.cancel,
        };
        adjust(problem, before, &settings)
    }

    /// What a change brings to a plan. Each of the two searches has half of the time.
    pub fn what_if(&self, problem: &Problem, plan: &Plan, change: WhatIf) -> Value {
        let [without, with] = self.allowances();
        let settings = TrialSettings {
            seed: self.seed,
            budgets: [&without, &with],
            cancel: &self.cancel,
        };
        what_if(problem, plan, change, &settings)
    }

    /// Looks for ways to go on with a day, given the plan that stood before. Where the time is over, those found so far
    /// are the answer.
    pub fn proposals(&self, problem: &Problem, before: &Plan) -> Vec<Proposal> {
        let allowance = self.allowance();
        let settings = ProposalSettings {
            seed: self.seed,
            budget_each: &allowance,
            cancel: &self.cancel,
        };
        let proposals = propose(problem, before, &settings);
        info!(
            milliseconds = allowance.elapsed().as_millis(),
            proposals = proposals.len(),
            "looked for proposals"
        );
        proposals
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SECONDS: Duration = Duration::from_secs(100);

    /// A search of 1,000 iterations that began so many of a hundred seconds ago.
    fn begun(before: Duration, goes_by_count: bool) -> Allowance {
        let began = Instant::now().checked_sub(before).expect("not so long ago");
        Allowance {
            iterations: 1_000,
            goes_by_count,
            time: SECONDS,
            began: OnceLock::from(began),
        }
    }

    #[test]
    #[expect(clippy::float_cmp, reason = "a share of a thousand is told as it is")]
    fn time_does_not_show_where_iterations_are_said_until_it_is_over() {
        let half = SECONDS / 2;
        for done in [0, 1, 10, 999, 1_000] {
            assert_eq!(begun(half, true).spent(done), done as f64 / 1_000.0);
        }
        assert!(begun(SECONDS, true).spent(1) >= 1.0);
        assert!(begun(half, false).spent(1) >= 0.5);
        assert!(begun(half, false).spent(1) < 0.6);
    }
}
