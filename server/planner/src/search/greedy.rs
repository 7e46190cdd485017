//! Filling a plan without chance: at the start from nothing, at the end with what still fits.

use rand_xoshiro::Xoshiro256PlusPlus;

use super::insertion::Care;
use super::recreate::{ANY_COST, Order, Refill};
use super::removal::settle;
use super::scope::Scope;
use super::shares;
use super::state::State;
use super::undo::Undo;
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
        refill.recreate(state, &scope, &[*job], ANY_COST, rng, &mut |_, _| {});
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
            if calls > 0
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
                refill.recreate(state, &scope, &[job], ANY_COST, rng, &mut |_, _| {});
            }
        }
        if !state.shares.is_empty() {
            let (mut undo, mut scratch) = (Undo::default(), None);
            shares::settle(state, &scope, &mut undo, &mut scratch, rng);
        }
        if state.bank.len() == count {
            return;
        }
    }
}
