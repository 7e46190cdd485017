//! The planner's front door.

use std::panic::resume_unwind;

use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;

use crate::apart;
use crate::cost::Cost;
use crate::plan::Plan;
use crate::problem::Problem;
use crate::routing::{Budget, Cancel, Iterations};
use crate::search::anneal::{Schedule, anneal};
use crate::search::eject::eject;
use crate::search::greedy::{construct, fill};
use crate::search::keep::keep_aboard;
use crate::search::load::load;
use crate::search::model::Model;
use crate::search::rounds::{self, rounds};
use crate::search::state::State;
use crate::search::unload::unload;

/// How to search.
#[derive(Clone, Copy)]
pub struct Settings<'s> {
    /// Source of all chance. The same problem, seed and count of iterations give the same plan.
    pub seed: u64,
    /// How long.
    pub budget: &'s dyn Budget,
    /// Stops the search early; it then returns the best plan so far. Before the problem is laid out, that is one in which
    /// nothing is planned.
    pub cancel: &'s Cancel,
    /// A plan to start from, for instance the one that stood before. What of it is no longer possible is dropped.
    pub warm_start: Option<&'s Plan>,
    /// How freely the plan is turned over.
    pub heat: Heat,
}

/// How freely a search turns its plan over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Heat {
    /// As for a plan from nothing: everything may change on the way.
    Full,
    /// As for a good plan that has to take in a change: quick, near what stood before.
    Gentle,
    /// As gentle, but with more of the plan taken up at once, for what only comes right when several crews give way.
    Wide,
}

/// How far a search has got.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Progress {
    /// Iterations made.
    pub iterations: u64,
    /// Share of the budget spent, 0 to 1.
    pub spent: f64,
    /// Cost of the best plan so far.
    pub best_cost: Cost,
    /// Jobs it leaves out.
    pub unplanned: usize,
}

/// What a search returns.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Solved {
    /// The best plan found.
    pub plan: Plan,
    /// Iterations made.
    pub iterations: u64,
    /// Whether it was cancelled.
    pub cancelled: bool,
}

/// Most threads of one search.
pub const THREADS_MAX: usize = 64;

/// Plans the problem. `report` is called now and then from the calling thread.
pub fn solve(problem: &Problem, settings: &Settings, report: &mut dyn FnMut(&Progress)) -> Solved {
    solve_on(problem, settings, 1, report)
}

/// The same on several threads (1 to [`THREADS_MAX`]). The budget is asked with the iterations of each thread, and the
/// same problem, seed, iterations and threads give the same plan. Plans of a few crews gain what the best of several searches
/// is better than one; those of many are searched on as many threads as there are groups of crews, at most.
pub fn solve_on(
    problem: &Problem,
    settings: &Settings,
    threads: usize,
    report: &mut dyn FnMut(&Progress),
) -> Solved {
    let mut solved = search(problem, settings, threads, report);
    let mut parted = None;
    while let Some(again) = apart::parted(parted.as_ref().unwrap_or(problem), &solved.plan) {
        // The rest is soon done, and has to be: no plan has a unit in two places.
        let go_on = Settings {
            budget: &Iterations(0),
            cancel: &Cancel::new(),
            warm_start: Some(&solved.plan),
            heat: Heat::Gentle,
            ..*settings
        };
        solved.plan = search(&again, &go_on, 1, &mut |_| {}).plan;
        parted = Some(again);
    }
    solved
}

fn search(
    problem: &Problem,
    settings: &Settings,
    threads: usize,
    report: &mut dyn FnMut(&Progress),
) -> Solved {
    let threads = threads.clamp(1, THREADS_MAX);
    let model = Model::new(problem, settings.cancel);
    let mut state = State::new(&model);
    if !model.is_whole {
        return Solved {
            plan: unload(&state),
            iterations: 0,
            cancelled: true,
        };
    }
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(settings.seed);
    if let Some(plan) = settings.warm_start {
        load(&mut state, plan);
    }
    construct(&mut state, settings.cancel, &mut rng);
    report(&Progress {
        iterations: 0,
        spent: 0.0,
        best_cost: state.cost,
        unplanned: state.bank.len(),
    });
    let in_rounds = settings.heat == Heat::Full && state.routes.len() > rounds::CREWS_FROM;
    let schedule = match settings.heat {
        Heat::Full if in_rounds => Schedule::MANY_CREWS,
        Heat::Full => Schedule::STANDARD,
        Heat::Gentle => Schedule::GENTLE,
        Heat::Wide => Schedule::WIDE,
    };
    let focus = match settings.heat {
        Heat::Full => Vec::new(),
        Heat::Gentle | Heat::Wide => state.bank.clone(),
    };
    let (budget, cancel) = (settings.budget, settings.cancel);
    let iterations = if in_rounds {
        rounds(
            &mut state, budget, cancel, &schedule, threads, &mut rng, report,
        )
    } else {
        side_by_side(
            &mut state,
            threads,
            &mut rng,
            |state, rng, report| anneal(state, budget, cancel, &schedule, &focus, rng, report),
            report,
        )
    };
    eject(&mut state, schedule.care, cancel, &mut rng);
    fill(&mut state, settings.cancel, &mut rng);
    keep_aboard(&mut state);
    state.assert_consistent();
    let plan = unload(&state);
    report(&Progress {
        iterations,
        spent: 1.0,
        best_cost: state.cost,
        unplanned: state.bank.len(),
    });
    Solved {
        plan,
        iterations,
        cancelled: settings.cancel.is_raised(),
    }
}

/// Searches by itself on each thread, from the same plan, and keeps the cheapest of what they found. What the calling
/// thread's search tells is told. Returns the most iterations that one made.
fn side_by_side<'m>(
    state: &mut State<'m>,
    threads: usize,
    rng: &mut Xoshiro256PlusPlus,
    search: impl Fn(&mut State<'m>, &mut Xoshiro256PlusPlus, &mut dyn FnMut(&Progress)) -> u64 + Sync,
    report: &mut dyn FnMut(&Progress),
) -> u64 {
    let others: Vec<(State, Xoshiro256PlusPlus)> = (1..threads)
        .map(|_| {
            (
                state.clone(),
                Xoshiro256PlusPlus::seed_from_u64(rng.random()),
            )
        })
        .collect();
    let search = &search;
    std::thread::scope(|scope| {
        let at_work: Vec<_> = others
            .into_iter()
            .map(|(mut state, mut rng)| {
                scope.spawn(move || (search(&mut state, &mut rng, &mut |_| {}), state))
            })
            .collect();
        let mut most = search(state, rng, report);
        for other in at_work {
            let (iterations, found) = other.join().unwrap_or_else(|panic| resume_unwind(panic));
            most = most.max(iterations);
            if found.cost < state.cost {
                *state = found;
            }
        }
        most
    })
}
