//! Filling a plan without chance: at the start from nothing, at the end with what still fits.

use rand_xoshiro::Xoshiro256PlusPlus;

use super::insertion::Care;
use super::meeting;
use super::recreate::{ANY_COST, Order, Refill};
use super::removal::settle;
use super::scope::Scope;
use super::shares;
use super::state::State;
use super::undo::Undo;
use crate::index::JobIx;
use crate::routing::Cancel;

/// Fills the plan greedily from the bank.
pub(crate) fn construct(state: &mut State, cancel: &Cancel, rng: &mut Xoshiro256PlusPlus) {
    let mut refill = Refill::new(Care::FULL);
    let scope = Scope::whole(state);
    let mut jobs = std::mem::take(&mut state.bank);
    for job in &jobs {
        state.cost -= state.model.penalties[job.ix()];
    }
    Order::LongestFirst.sort(state, &mut jobs, rng);
    Order::DearestFirst.rank(state, &mut jobs);
    for (done, job) in jobs.iter().enumerate() {
        if cancel.is_raised() {
            for left in &jobs[done..] {
                state.leave_out(*left);
            }
            return;
        }
        put_in(state, &mut refill, &scope, *job, rng);
    }
}

/// Puts the job where it is cheapest, or leaves it out; so it does where crews could no longer meet as they do.
fn put_in(
    state: &mut State,
    refill: &mut Refill,
    scope: &Scope,
    job: JobIx,
    rng: &mut Xoshiro256PlusPlus,
) {
    if !meeting::any(state) {
        refill.recreate(state, scope, &[job], ANY_COST, rng, &mut |_, _| {});
        return;
    }
    let (before, mut undo) = (state.cost, Undo::default());
    undo.begin(state);
    refill.recreate(state, scope, &[job], ANY_COST, rng, &mut |state, crew| {
        undo.save(state, crew);
    });
    if !meeting::sound(state, true) {
        undo.restore(state, before);
        state.leave_out(job);
    }
}

/// Puts in what still fits with profit when nothing is passed over, until nothing more does.
pub(crate) fn fill(state: &mut State, cancel: &Cancel, rng: &mut Xoshiro256PlusPlus) {
    let mut refill = Refill::new(Care::FULL);
    let scope = Scope::whole(state);
    loop {
        for crew in 0..state.routes.len() {
            // A call at the yard may have lost its use. It goes even if the wait it made was worth something.
            let mut route = state.routes[crew].clone();
            let calls = route.calls.len();
            let meets = route.legs.iter().any(|leg| leg.meets.is_some());
            if calls > 0
                && !meets
                && !cancel.is_raised()
                && settle(state, crew, &mut route)
                && (route.calls.len() < calls || route.cost < state.routes[crew].cost)
            {
                state.put(crew, &route);
            }
        }
        let count = state.bank.len();
        for job in std::mem::take(&mut state.bank) {
            state.cost -= state.model.penalties[job.ix()];
            if cancel.is_raised() {
                state.leave_out(job);
            } else {
                put_in(state, &mut refill, &scope, job, rng);
            }
        }
        if !state.shares.is_empty() {
            let (mut undo, mut scratch) = (Undo::default(), None);
            undo.begin(state);
            let before = state.cost;
            if !shares::settle(state, &scope, &mut undo, &mut scratch, rng) {
                undo.restore(state, before);
            }
        }
        if state.bank.len() == count {
            return;
        }
    }
}
