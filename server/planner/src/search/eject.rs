//! Left-out jobs in the place of planned ones.
//!
//! A job that is left out takes the place of a planned one near it, and that one goes wherever else it fits best, or is
//! left out in its stead. Ruins come upon such an exchange by chance, among much else; here each is tried by itself.

use rand_xoshiro::Xoshiro256PlusPlus;

use super::insertion::Care;
use super::meeting;
use super::recreate::{Refill, place};
use super::removal::remove;
use super::route::Route;
use super::scope::Scope;
use super::state::State;
use super::undo::Undo;
use crate::cost::Cost;
use crate::index::JobIx;
use crate::routing::Cancel;

/// Planned jobs that a job left out may take the place of: so many of its neighbours.
const REACH: usize = 40;

/// Makes exchanges as long as one makes the plan cheaper.
pub(crate) fn eject(state: &mut State, care: Care, cancel: &Cancel, rng: &mut Xoshiro256PlusPlus) {
    let mut exchange = Exchange {
        scope: Scope::whole(state),
        refill: Refill::new(care),
        undo: Undo::default(),
        scratch: None,
    };
    loop {
        let before = state.cost;
        let mut left_out = state.bank.clone();
        left_out.sort_by_key(|job| -state.model.penalties[job.ix()]);
        for job in left_out {
            let model = state.model;
            for &other in model.neighbours[job.ix()].iter().take(REACH) {
                if cancel.is_raised() {
                    return;
                }
                if exchange.try_one(state, job, other, rng) {
                    break;
                }
            }
        }
        if state.cost >= before {
            state.assert_consistent();
            return;
        }
    }
}

/// What exchanges share: buffers that are used again.
struct Exchange {
    scope: Scope,
    refill: Refill,
    undo: Undo,
    scratch: Option<Route>,
}

impl Exchange {
    /// Puts the job where another is planned; whether that makes the plan cheaper, and was kept.
    fn try_one(
        &mut self,
        state: &mut State,
        job: JobIx,
        other: JobIx,
        rng: &mut Xoshiro256PlusPlus,
    ) -> bool {
        let Some(crew) = state.route_of[other.ix()] else {
            return false;
        };
        let Some(at) = state.bank.iter().position(|banked| *banked == job) else {
            return false;
        };
        if !state.model.eligible(job, crew) {
            return false;
        }
        let (before, met_before) = (state.cost, meeting::any(state));
        let Self {
            scope,
            refill,
            undo,
            scratch,
        } = self;
        undo.begin(state);
        undo.save(state, crew);
        let mut out = vec![other];
        remove(state, crew, &mut out, scratch);
        state.take_from_bank(at);
        let mut touched = |state: &State, crew: usize| undo.save(state, crew);
        let most = before - Cost(1);
        let kept = place(state, job, &mut refill.inserter, &[crew], rng, &mut touched)
            && refill.recreate(state, scope, &out, most, rng, &mut touched)
            && meeting::sound(state, met_before);
        if !kept {
            undo.restore(state, before);
        }
        kept
    }
}
