//! Two crews trade their days.
//!
//! Which crews go out, and with what, decides most of a plan's cost. Taking out some stops and putting each back where
//! it is cheapest seldom changes that, since every crew then takes again what it had.

use rand_xoshiro::Xoshiro256PlusPlus;

use super::class_set::ClassSet;
use super::insertion::Inserter;
use super::load_out::{self, Swap};
use super::recreate::place;
use super::removal::{remove, settle};
use super::route::Route;
use super::state::State;
use crate::index::JobIx;

/// Whether the two crews may trade days: neither has begun, and it is the same day.
pub(crate) fn may_trade(state: &State, one: usize, other: usize) -> bool {
    let crews = &state.model.crews;
    let open = |crew: usize| load_out::is_open(state.model, crew, 0);
    let idle = |crew: usize| state.routes[crew].visits.is_empty();
    one != other
        && crews[one].day == crews[other].day
        && open(one)
        && open(other)
        && !(idle(one) && idle(other))
}

/// Gives each of the two crews the other's stops and tools, as far as they fit. Jobs that do not are added to `left`.
///
/// Both routes must have been saved for undoing.
pub(crate) fn trade_days(
    state: &mut State,
    pair: [usize; 2],
    inserter: &mut Inserter,
    rng: &mut Xoshiro256PlusPlus,
    scratch: &mut Option<Route>,
    left: &mut Vec<JobIx>,
) {
    let kits: [ClassSet; 2] = pair.map(|crew| {
        let mut kit = ClassSet::EMPTY;
        for leg in &state.routes[crew].legs {
            kit.add(&leg.set);
        }
        kit
    });
    let days: [Vec<JobIx>; 2] = pair.map(|crew| state.routes[crew].jobs().collect());
    for (crew, day) in pair.into_iter().zip(&days) {
        remove(state, crew, &mut day.clone(), scratch);
    }
    for (n, crew) in pair.into_iter().enumerate() {
        load(state, crew, &kits[1 - n], scratch);
        for &job in &days[1 - n] {
            if !place(state, job, inserter, &[crew], rng, &mut |_, _| {}) {
                left.push(job);
            }
        }
        unload_unused(state, crew, scratch);
    }
}

/// Loads a crew without jobs with the classes, if it can have all of them. One that still meets another, as it does not stay
/// away by itself, keeps what it has for that.
fn load(state: &mut State, crew: usize, kit: &ClassSet, scratch: &mut Option<Route>) {
    let route = state.routes[crew].copied_to(scratch);
    if route.legs.len() == 1
        && load_out::refit(state, crew, &mut route.legs, 0, kit, Swap::Keep)
        && route.evaluate(&state.clock(crew)).is_ok()
    {
        state.put(crew, route);
    }
}

/// Lets go of what the crew does not use.
pub(super) fn unload_unused(state: &mut State, crew: usize, scratch: &mut Option<Route>) {
    let route = state.routes[crew].copied_to(scratch);
    if settle(state, crew, route) {
        state.put(crew, route);
    }
}
