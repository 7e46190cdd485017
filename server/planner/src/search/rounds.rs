//! Search of plans with many crews: round after round, a few crews that work near each other are searched as if there
//! were no others, so that an iteration costs no more than on a small day. Several threads take groups apart from each
//! other at the same time.

use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;

use super::anneal::{Best, Schedule};
use super::scope::Scope;
use super::state::State;
use super::walk::Walk;
use crate::index::JobIx;
use crate::routing::{Budget, Cancel};
use crate::solve::Progress;

/// Plans with more crews than this are searched in rounds.
pub(crate) const CREWS_FROM: usize = 24;
/// Crews in one group.
const GROUP: usize = 12;
/// Of them, taken from anywhere: those without a stop have no neighbours.
const STRANGERS: usize = 2;
/// Iterations of one thread in one round.
const ROUND: u64 = 200;
/// Jobs left out that one group may take up.
const CLAIMS_MAX: usize = 120;

/// One thread's part of a round.
struct Part<'m> {
    state: State<'m>,
    scope: Scope,
    rng: Xoshiro256PlusPlus,
}

/// Improves the plan until the budget is spent or the search is cancelled. Returns the iterations made by each thread.
pub(crate) fn rounds(
    state: &mut State,
    budget: &dyn Budget,
    cancel: &Cancel,
    schedule: &Schedule,
    threads: usize,
    rng: &mut Xoshiro256PlusPlus,
    report: &mut dyn FnMut(&Progress),
) -> u64 {
    // With fewer crews than whole groups take, some thread would have none.
    let threads = threads.min(state.routes.len().div_ceil(GROUP));
    let mut best = Best::new(state);
    let mut walks: Vec<Walk> = (0..threads)
        .map(|_| {
            let walk = Walk::new(state, schedule);
            if threads > 1 {
                walk.without_sharing()
            } else {
                walk
            }
        })
        .collect();
    let mut iterations = 0;
    loop {
        let spent = budget.spent(iterations);
        if spent >= 1.0 || cancel.is_raised() || state.model.open_jobs.is_empty() {
            break;
        }
        let mut parts = divide(state, threads, rng);
        let run = |part: &mut Part, walk: &mut Walk| {
            let mut made = 0;
            while made < ROUND && !cancel.is_raised() && !part.scope.jobs.is_empty() {
                let spent = budget.spent(iterations + made);
                if spent >= 1.0 {
                    break;
                }
                made += 1;
                walk.iterate(&mut part.state, &part.scope, &[], spent, &mut part.rng);
            }
        };
        std::thread::scope(|scope| {
            let mut work = parts.iter_mut().zip(&mut walks);
            let mine = work.next();
            for (part, walk) in work {
                scope.spawn(move || run(part, walk));
            }
            if let Some((part, walk)) = mine {
                run(part, walk);
            }
        });
        iterations += ROUND;
        join(state, parts);
        if state.cost < best.cost {
            best.take(state);
        }
        report(&best.progress(iterations, spent.min(1.0)));
    }
    state.replace(best.routes, best.bank, best.shares);
    state.assert_consistent();
    iterations
}

/// Groups of crews apart from each other, each in a copy of the plan.
fn divide<'m>(state: &State<'m>, count: usize, rng: &mut Xoshiro256PlusPlus) -> Vec<Part<'m>> {
    let mut taken = vec![false; state.routes.len()];
    let mut claimed = vec![false; state.model.problem.jobs().len()];
    (0..count)
        .map(|place| {
            let scope = group(state, &mut taken, &mut claimed, rng);
            let mut copy = state.clone();
            (copy.bank, copy.aside) = state.bank.iter().partition(|job| scope.jobs.contains(job));
            if count > 1 {
                copy.keep_away(|unit| unit % count == place);
            }
            Part {
                state: copy,
                scope,
                rng: Xoshiro256PlusPlus::seed_from_u64(rng.random()),
            }
        })
        .collect()
}

/// A group around a job drawn by chance, of crews and jobs that no other has. Where no crew is left it has no job either.
fn group(
    state: &State,
    taken: &mut [bool],
    claimed: &mut [bool],
    rng: &mut Xoshiro256PlusPlus,
) -> Scope {
    if taken.iter().all(|taken| *taken) {
        return Scope::new(state, Vec::new(), Vec::new());
    }
    let open = &state.model.open_jobs;
    let seed = open[rng.random_range(0..open.len())];
    let mut crews: Vec<usize> = Vec::new();
    let mut jobs: Vec<JobIx> = Vec::new();
    // Outward from the seed, over neighbours of neighbours.
    let mut queue = vec![seed];
    let mut queued = vec![false; state.model.problem.jobs().len()];
    queued[seed.ix()] = true;
    let mut next = 0;
    while next < queue.len() && crews.len() < GROUP - STRANGERS {
        let job = queue[next];
        next += 1;
        match state.route_of[job.ix()] {
            Some(crew) if !taken[crew] => {
                taken[crew] = true;
                crews.push(crew);
            }
            None if jobs.len() < CLAIMS_MAX && !claimed[job.ix()] => {
                claimed[job.ix()] = true;
                jobs.push(job);
            }
            Some(_) | None => {}
        }
        for near in &state.model.neighbours[job.ix()] {
            if !queued[near.ix()] {
                queued[near.ix()] = true;
                queue.push(*near);
            }
        }
    }
    let first = rng.random_range(0..taken.len());
    for crew in (first..taken.len()).chain(0..first) {
        if crews.len() == GROUP {
            break;
        }
        if !taken[crew] {
            taken[crew] = true;
            crews.push(crew);
        }
    }
    for &crew in &crews {
        jobs.extend(state.routes[crew].jobs());
    }
    Scope::new(state, crews, jobs)
}

/// Takes what each thread did to its group over into the plan.
fn join(state: &mut State, parts: Vec<Part>) {
    let mut routes = std::mem::take(&mut state.routes);
    let mut bank = std::mem::take(&mut state.bank);
    let mut shares = std::mem::take(&mut state.shares);
    if let [only] = &parts[..] {
        // Several threads leave them as they are.
        shares.clone_from(&only.state.shares);
    }
    bank.retain(|job| !parts.iter().any(|part| part.scope.jobs.contains(job)));
    for part in parts {
        bank.extend(&part.state.bank);
        let mut theirs = part.state.routes;
        for &crew in &part.scope.crews {
            std::mem::swap(&mut routes[crew], &mut theirs[crew]);
            // Copies of the plan number their changes alike.
            routes[crew].version = state.stamp();
        }
    }
    state.replace(routes, bank, shares);
}
