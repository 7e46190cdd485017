//! One crew gets a tool that it lacks, before any job asks for it.
//!
//! Jobs are put back one at a time, and each alone may not be worth a better tool, or a call at the yard to fetch it: that
//! pays when several stops become quicker by it, or two jobs that are left out fit in then. So the crew gets the tool first,
//! and what is left out is offered to it afterwards.

use rand::RngExt;
use rand_xoshiro::Xoshiro256PlusPlus;

use super::class_set::Class;
use super::hand_on::Want;
use super::insertion::Inserter;
use super::load_out::{self, Swap, Wish};
use super::recreate::{Order, place};
use super::route::{Route, Visit};
use super::scope::Scope;
use super::state::State;
use super::undo::Undo;
use crate::index::JobIx;

/// Jobs left out that are offered to the crew at most.
const OFFERS_MAX: usize = 24;
/// Tools that stay behind at most to make room for the new one.
const PARTINGS_MAX: usize = 3;
/// Of so many positions for a new call, one is passed over.
const OVERLOOKED: u32 = 4;

/// Gives the crew a tool for a job drawn by chance. Where units may be shared, another crew may have to part with it for a
/// part of its day; its stops that it can no longer do are added to `jobs`. Returns whether the crew has got one.
#[expect(
    clippy::too_many_arguments,
    reason = "the search's context, passed on by one caller"
)]
pub(super) fn give_tool(
    state: &mut State,
    scope: &Scope,
    crew: usize,
    shares: bool,
    undo: &mut Undo,
    scratch: &mut Option<Route>,
    jobs: &mut Vec<JobIx>,
    rng: &mut Xoshiro256PlusPlus,
) -> bool {
    let Some(job) = draw_job(state, crew, rng) else {
        return false;
    };
    if shares && rng.random_range(0..2) == 0 {
        let want = Want::of(state, scope, job, crew, rng);
        want.part(state, undo, scratch, jobs, rng);
    }
    equip(state, crew, job, undo, scratch, rng)
}

/// Loads what does the job better in one stretch of the crew's day, at its beginning or at a call, a new one where it costs
/// least if need be. Returns whether there is such a tool, and the day can be so; if not, nothing has changed.
fn equip(
    state: &mut State,
    crew: usize,
    job: JobIx,
    undo: &mut Undo,
    scratch: &mut Option<Route>,
    rng: &mut Xoshiro256PlusPlus,
) -> bool {
    let Some(stretch) = Stretch::draw(state, crew, rng) else {
        return false;
    };
    let last = match stretch {
        Stretch::Leg(_) => 0,
        Stretch::Call { .. } => state.routes[crew].visits.len(),
    };
    let mut best: Option<Route> = None;
    for position in 0..=last {
        if matches!(stretch, Stretch::Call { .. }) && rng.random_range(0..OVERLOOKED) == 0 {
            continue;
        }
        let fitted = fit(state, crew, job, (stretch, position), scratch, rng);
        if let Some(route) = fitted
            && best.as_ref().is_none_or(|best| route.cost < best.cost)
        {
            best = Some(route.clone());
        }
    }
    let Some(route) = best else { return false };
    undo.save(state, crew);
    state.put(crew, &route);
    true
}

/// The crew's day with a tool that does the job better in the stretch, if it can be so. What is no longer used there goes,
/// and more where there is no room.
fn fit<'s>(
    state: &State,
    crew: usize,
    job: JobIx,
    (stretch, position): (Stretch, usize),
    scratch: &'s mut Option<Route>,
    rng: &mut Xoshiro256PlusPlus,
) -> Option<&'s Route> {
    let model = state.model;
    let route = state.routes[crew].copied_to(scratch);
    let leg = stretch.lay(route, position);
    let aboard = route.legs[leg].set;
    let can = |class| load_out::obtainable(state, crew, route, leg, class);
    let better = load_out::additions(model, job, crew, &aboard, Wish::Better, can, || false);
    let mut set = better.filter(|set| *set != aboard)?;
    let added: Vec<Class> = set.minus(&aboard).collect();
    let legs = route.legs.len();
    for _ in 0..=PARTINGS_MAX {
        route.legs[leg].set = set;
        let mut used = route.serve(model, crew).ok()?;
        for &class in &added {
            used[leg].insert(class);
        }
        load_out::carry_back(state, crew, &route.legs, &mut used[..legs]);
        let fits = (0..legs).all(|later| {
            !load_out::is_open(model, crew, later)
                || load_out::refit(
                    state,
                    crew,
                    &mut route.legs,
                    later,
                    &used[later],
                    Swap::Keep,
                )
        });
        if fits {
            let clock = state.clock(crew);
            let possible = route.serve(model, crew).is_ok() && route.evaluate(&clock).is_ok();
            return possible.then_some(route);
        }
        // No room for all of it: something else stays behind, and what was done with that is done otherwise.
        let used = used[leg];
        let others: Vec<Class> = used.iter().filter(|class| !added.contains(class)).collect();
        if others.is_empty() {
            return None;
        }
        let class = others[rng.random_range(0..others.len())];
        route.clone_from(&state.routes[crew]);
        stretch.lay(route, position);
        set = used;
        set.remove(class);
    }
    None
}

/// The stretch of the day in which the crew gets the tool.
#[derive(Debug, Clone, Copy)]
enum Stretch {
    /// One whose load can be chosen.
    Leg(usize),
    /// One after a new call at the yard.
    Call { yard: u8 },
}

impl Stretch {
    fn draw(state: &State, crew: usize, rng: &mut Xoshiro256PlusPlus) -> Option<Self> {
        let (team, route) = (state.model.crew(crew), &state.routes[crew]);
        let yards = u8::try_from(team.yard_calls.len()).unwrap_or(u8::MAX);
        let may_call = yards > 0 && route.calls.len() < usize::from(team.calls_max);
        let closed = usize::from(!load_out::is_open(state.model, crew, 0));
        let open = route.legs.len() - closed;
        if may_call && (open == 0 || rng.random_range(0..2) == 0) {
            let yard = rng.random_range(0..yards);
            return Some(Self::Call { yard });
        }
        (open > 0).then(|| Self::Leg(rng.random_range(closed..route.legs.len())))
    }

    /// Which leg it is; if it begins with a new call, that is put in at the position.
    fn lay(self, route: &mut Route, position: usize) -> usize {
        match self {
            Self::Leg(leg) => leg,
            Self::Call { yard } => route.insert_call(position, yard),
        }
    }
}

/// Offers the crew what is left out.
pub(super) fn offer(
    state: &mut State,
    crew: usize,
    inserter: &mut Inserter,
    rng: &mut Xoshiro256PlusPlus,
) {
    let mut left_out: Vec<JobIx> = state.bank.clone();
    Order::draw(rng).sort(state, &mut left_out, rng);
    for job in left_out.into_iter().take(OFFERS_MAX) {
        let taken = state.take_left_out(job);
        debug_assert!(taken, "what was offered before has been placed or left out");
        if !place(state, job, inserter, &[crew], rng, &mut |_, _| {}) {
            state.leave_out(job);
        }
    }
}

/// A job for which the crew might want a better tool: one of its own, or one that is left out.
fn draw_job(state: &State, crew: usize, rng: &mut Xoshiro256PlusPlus) -> Option<JobIx> {
    let visits = &state.routes[crew].visits;
    if !visits.is_empty() && rng.random_range(0..4) > 0 {
        match visits[rng.random_range(0..visits.len())] {
            Visit::Job(job) => Some(job),
            Visit::Call(_) | Visit::Meet(_) => None,
        }
    } else if state.bank.is_empty() {
        None
    } else {
        let job = state.bank[rng.random_range(0..state.bank.len())];
        state.model.eligible(job, crew).then_some(job)
    }
}
