//! The routing engine: stops on routes, improved by ruin and recreate under a falling threshold.
//!
//! It knows a problem only through [`Rules`], has no clock (see [`Budget`]) and draws all chance from a seed: the same
//! problem, seed, settings and iteration budget give the same plan.

#![expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "node numbers and values are bounded by MAX_STOPS and MAX_VALUE, checked before a search starts"
)]

mod anneal;
mod audit;
mod budget;
mod cover;
mod cycles;
mod lists;
mod order;
mod plan;
mod pool;
mod recombine;
mod recreate;
mod ruin;
mod rules;
mod settings;
mod state;
mod tails;
mod uniform;

pub use budget::{Budget, Cancel, Iterations, Spent};
pub use order::spatial_order;
pub use plan::{PlanFault, RoutePlan};
pub use rules::Rules;
pub use settings::Settings;
pub use uniform::{Uniform, UniformError, Visit};

/// Largest number of stops, and of routes, in one problem.
pub const MAX_STOPS: usize = 20_000;
/// Largest cost of a leg, time, demand or capacity: sums of a few must fit in 32 bits.
pub const MAX_VALUE: i32 = 1 << 26;

/// Most threads of one search.
pub const MAX_THREADS: usize = 64;

/// What a search gives back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Outcome {
    /// Best plan found.
    pub plan: RoutePlan,
    /// Iterations made, over all threads.
    pub iterations: u64,
}

/// Share of the budget after which several threads stop, to join their routes.
const JOIN_AT: f64 = 0.97;

/// How to search.
#[derive(Debug, Clone, Default)]
pub struct Options {
    /// Settings of the search.
    pub settings: Settings,
    /// Seed of all chance.
    pub seed: u64,
    /// Threads, each with its own chance drawn from the seed; 0 counts as 1.
    pub threads: usize,
    /// Plan to start from, in place of one built by cheapest insertion.
    pub start: Option<RoutePlan>,
}

/// Why a search gives no plan.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SolveError {
    /// The problem is beyond the engine's limit.
    #[error("{count} {what} are more than the limit of {MAX_STOPS}")]
    TooLarge {
        /// Number in the problem.
        count: usize,
        /// Stops or routes.
        what: &'static str,
    },
    /// There is no stop or no route.
    #[error("the problem has no {what}")]
    Empty {
        /// Stops or routes.
        what: &'static str,
    },
    /// The plan to start from breaks the rules.
    #[error("the plan to start from is not valid: {0}")]
    Start(#[from] PlanFault),
    /// Cancelled before there was a first plan.
    #[error("cancelled before there was a plan")]
    Cancelled,
}

/// Searches for a good plan until the budget is spent or the search is cancelled.
///
/// # Errors
///
/// When the problem is empty or too large, the plan to start from is not valid, or the search was cancelled before
/// there was a plan.
pub fn solve<R: Rules>(
    rules: &R,
    options: &Options,
    budget: &impl Budget,
    cancel: &Cancel,
) -> Result<Outcome, SolveError> {
    for (count, what) in [(rules.stops(), "stops"), (rules.routes(), "routes")] {
        if count == 0 {
            return Err(SolveError::Empty { what });
        }
        if count > MAX_STOPS {
            return Err(SolveError::TooLarge { count, what });
        }
    }
    if let Some(start) = &options.start {
        start.evaluate(rules)?;
    }
    let settings = &options.settings;
    let lists = lists::Lists::build(rules, settings.around, settings.beside, cancel)
        .ok_or(SolveError::Cancelled)?;
    let threads = options.threads.clamp(1, MAX_THREADS);
    let until = if threads > 1 { JOIN_AT } else { 1.0 };
    let work = |thread: usize| {
        let own = options
            .seed
            .wrapping_add((thread as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15));
        let mut search = anneal::Search::new(rules, &lists, settings, own);
        match &options.start {
            Some(plan) => search.start_from(plan),
            None => search.construct(cancel),
        }
        search.run(budget, until, cancel);
        search
    };
    let (mut first, others) = std::thread::scope(|scope| {
        let work = &work;
        let spawned: Vec<_> = (1..threads)
            .map(|thread| scope.spawn(move || work(thread)))
            .collect();
        let first = work(0);
        // A thread that failed has nothing to add; the others' plans stand.
        let others: Vec<_> = spawned
            .into_iter()
            .filter_map(|handle| handle.join().ok())
            .collect();
        (first, others)
    });
    first.finish(others, budget, cancel);
    Ok(Outcome {
        plan: first.plan(),
        iterations: first.iterations,
    })
}
