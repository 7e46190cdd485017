//! The routing engine: stops on routes, improved by ruin and recreate under annealing.
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
mod lists;
mod order;
mod plan;
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

/// What a search gives back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Outcome {
    /// Best plan found.
    pub plan: RoutePlan,
    /// Iterations made, over all threads.
    pub iterations: u64,
}

/// Searches for a good plan. `None` when cancelled before a first plan was there.
pub fn solve<R: Rules>(
    rules: &R,
    settings: &Settings,
    seed: u64,
    budget: &impl Budget,
    cancel: &Cancel,
) -> Option<Outcome> {
    let lists = lists::Lists::build(rules, settings.around, settings.beside, cancel)?;
    let mut search = anneal::Search::new(rules, &lists, settings, seed);
    search.construct();
    search.run(budget, cancel);
    Some(Outcome {
        plan: search.plan(),
        iterations: search.iterations,
    })
}
