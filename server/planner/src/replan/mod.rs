//! Planning again in the middle of the day.
//!
//! [`as_of`] turns a problem and its plan into the problem as it stands at an instant: what is done or running is
//! frozen, crews are where they are with what they have aboard, and every open job knows where it stood, so that change
//! has its price. [`unit_out`] takes a unit out from then on. [`propose`] answers with proposals that differ in kind.

mod like_units;
mod meet;
mod now;
mod proposal;
mod put_off;
mod strategy;

pub use now::{as_of, unit_out};
pub use proposal::{Because, Change, Kind, PromiseState, Proposal};

use std::panic::resume_unwind;
use std::thread;

use crate::check::check;
use crate::index::JobIx;
use crate::plan::Plan;
use crate::problem::Problem;
use crate::routing::{Budget, Cancel, Spent};
use crate::solve::{Heat, Settings, Solved, solve};
use meet::Handover;
use strategy::Strategy;

/// Searches in which everything is allowed: what one misses the other may find, and two that are half as long take half
/// the time where there are two cores.
const FREE_SEARCHES: [Heat; 2] = [Heat::Gentle, Heat::Wide];
/// Iterations of each of them, for one of each of the narrower ones.
const FREE: u64 = 14;

/// How to look for proposals.
#[derive(Clone, Copy)]
pub struct ProposalSettings<'s> {
    /// Source of all chance.
    pub seed: u64,
    /// How long each kind of proposal is looked for, all of them side by side; whatever is cheapest
    /// altogether, twice and fourteen times as long.
    pub budget_each: &'s dyn Budget,
    /// Stops early; the proposals found so far are returned.
    pub cancel: &'s Cancel,
}

/// Proposals for a problem as of now, given the plan that stood before. The cheapest comes first; no two are the same
/// plan, and each passes [`check`](crate::check()) for `problem`.
///
/// Tried are: going on with what is aboard, fetching a unit from the yard, meeting another crew to take one over, moving
/// jobs to other crews, leaving the jobs that cannot be done as planned for later, or those that the plan before does not have
/// where all can, and whatever is cheapest altogether. Calls at the yard and meetings are proposed for crews whose
/// [`yard_calls`](crate::problem::Crew::yard_calls) allow them.
pub fn propose(problem: &Problem, before: &Plan, settings: &ProposalSettings) -> Vec<Proposal> {
    let hit = strategy::jobs_hit(problem, before);
    let mut proposals: Vec<Proposal> = Vec::new();
    for plan in searched(problem, before, &hit, settings) {
        add(problem, before, plan, &mut proposals);
    }
    proposals.sort_by_key(|proposal| proposal.plan.cost.total());
    proposals
}

/// The way on that one search finds, with nothing forbidden, from the plan that stood before.
pub fn adjust(problem: &Problem, before: &Plan, settings: &ProposalSettings) -> Proposal {
    let each = settings.budget_each;
    let mut plan = solved(problem, before, settings, Heat::Gentle, each).plan;
    like_units::keep(problem, before, &mut plan);
    proposal::describe(problem, before, plan)
}

/// A search on a thread of its own.
type Run<'scope> = thread::ScopedJoinHandle<'scope, Option<Plan>>;

/// The plans of all searches. Each has a thread of its own and a problem of its own, so that what they find does not
/// depend on how fast the threads run.
fn searched(
    problem: &Problem,
    before: &Plan,
    hit: &[JobIx],
    settings: &ProposalSettings,
) -> Vec<Plan> {
    let put_off = &put_off::jobs(problem, before, hit);
    thread::scope(|scope| {
        // The longest first.
        let free = FREE_SEARCHES.map(|heat| {
            scope.spawn(move || {
                let longer = Spent(|iterations| settings.budget_each.spent(iterations / FREE));
                search(problem, before, settings, heat, &longer)
            })
        });
        let mut runs: Vec<_> = Strategy::ALL
            .into_iter()
            .map(|strategy| {
                scope.spawn(move || {
                    if settings.cancel.is_raised() {
                        return None;
                    }
                    let narrowed = strategy.narrow(problem, put_off);
                    let each = settings.budget_each;
                    search(&narrowed, before, settings, Heat::Gentle, each)
                })
            })
            .collect();
        runs.push(scope.spawn(|| meet(problem, before, hit, settings)));
        let ended = |run: Run| run.join().unwrap_or_else(|panic| resume_unwind(panic));
        // Of those that look for the same, the dearer is no choice.
        let cheapest = free
            .into_iter()
            .filter_map(ended)
            .min_by_key(|plan| plan.cost.total());
        runs.into_iter().filter_map(ended).chain(cheapest).collect()
    })
}

/// A plan in which two crews meet, where that helps and both are back in time.
fn meet(
    problem: &Problem,
    before: &Plan,
    hit: &[JobIx],
    settings: &ProposalSettings,
) -> Option<Plan> {
    let meeting = Handover::best(problem, before, hit)?;
    let over = meeting.over(problem);
    let each = settings.budget_each;
    let mut plan = search(&over, before, settings, Heat::Gentle, each)?;
    meeting.write(problem, &mut plan);
    check(problem, &plan).is_ok().then_some(plan)
}

/// What a search finds; none if it was cancelled before it began.
fn search(
    narrowed: &Problem,
    from: &Plan,
    settings: &ProposalSettings,
    heat: Heat,
    budget: &dyn Budget,
) -> Option<Plan> {
    let solved = solved(narrowed, from, settings, heat, budget);
    (!solved.cancelled || solved.iterations > 0).then_some(solved.plan)
}

fn solved(
    narrowed: &Problem,
    from: &Plan,
    settings: &ProposalSettings,
    heat: Heat,
    budget: &dyn Budget,
) -> Solved {
    let settings = Settings {
        seed: settings.seed,
        budget,
        cancel: settings.cancel,
        warm_start: Some(from),
        heat,
    };
    solve(narrowed, &settings, &mut |_| {})
}

/// Adds the plan unless it is there already. Crews keep those of like units that they had.
fn add(problem: &Problem, before: &Plan, mut plan: Plan, proposals: &mut Vec<Proposal>) {
    like_units::keep(problem, before, &mut plan);
    let known = proposals
        .iter()
        .any(|other| proposal::same(&other.plan, &plan));
    if !known {
        proposals.push(proposal::describe(problem, before, plan));
    }
}
