//! Planning again in the middle of the day.
//!
//! [`as_of`] turns a problem and its plan into the problem as it stands at an instant: what is done or running is
//! frozen, crews are where they are with what they have aboard, and every open job knows where it stood, so that change
//! has its price. [`unit_out`] takes a unit out from then on. [`propose`] answers with proposals that differ in kind.

mod like_units;
mod now;
mod proposal;
mod strategy;

pub use now::{as_of, unit_out};
pub use proposal::{Because, Change, Kind, PromiseState, Proposal};

use crate::plan::Plan;
use crate::problem::Problem;
use crate::routing::{Budget, Cancel};
use crate::solve::{Heat, Settings, solve};
use strategy::Strategy;

/// How to look for proposals.
#[derive(Clone, Copy)]
pub struct ProposalSettings<'s> {
    /// Source of all chance.
    pub seed: u64,
    /// How long each kind of proposal is looked for.
    pub budget_each: &'s dyn Budget,
    /// Stops early; the proposals found so far are returned.
    pub cancel: &'s Cancel,
}

/// Proposals for a problem as of now, given the plan that stood before. The cheapest comes first; no two are the same
/// plan, and each passes [`check`](crate::check()) for `problem`.
///
/// Tried are: going on with what is aboard, fetching a unit from the yard, moving jobs to other crews, leaving the jobs
/// that lost their tool for later, and whatever is cheapest altogether. Calls at the yard are proposed for crews whose
/// [`yard_call`](crate::problem::Crew::yard_call) allows them.
pub fn propose(problem: &Problem, before: &Plan, settings: &ProposalSettings) -> Vec<Proposal> {
    let hit = strategy::jobs_hit(problem, before);
    let mut proposals: Vec<Proposal> = Vec::new();
    for strategy in Strategy::ALL {
        if settings.cancel.is_raised() {
            break;
        }
        let narrowed = strategy.narrow(problem, &hit);
        let solve_settings = Settings {
            seed: settings.seed,
            budget: settings.budget_each,
            cancel: settings.cancel,
            warm_start: Some(before),
            heat: Heat::Gentle,
        };
        let mut plan = solve(&narrowed, &solve_settings, &mut |_| {}).plan;
        like_units::keep(problem, before, &mut plan);
        let proposal = proposal::describe(problem, before, plan);
        if !proposals
            .iter()
            .any(|other| proposal::same(&other.plan, &proposal.plan))
        {
            proposals.push(proposal);
        }
    }
    proposals.sort_by_key(|proposal| proposal.plan.cost.total());
    proposals
}
