//! Units that would be put down at one call and taken again at a later one stay aboard in between.
//!
//! While the search goes on a crew has nothing aboard that it does not use, so that others find it free. In the end what
//! nobody takes meanwhile need not be carried to and fro.

use super::load_out::{class_of, is_idle_freight, redue};
use super::route::Route;
use super::state::State;
use crate::index::UnitIx;

/// A unit that is put down where one leg begins and taken where another does.
struct Pause {
    unit: UnitIx,
    down: usize,
    up: usize,
}

/// Keeps what can stay aboard, wherever that makes the plan cheaper.
pub(crate) fn keep_aboard(state: &mut State) {
    let mut scratch = None;
    for crew in 0..state.routes.len() {
        while pauses(&state.routes[crew])
            .iter()
            .any(|pause| bridge(state, crew, pause, &mut scratch))
        {}
    }
}

fn pauses(route: &Route) -> Vec<Pause> {
    let legs = &route.legs;
    let mut found = Vec::new();
    for (down, pair) in (1..).zip(legs.windows(2)) {
        for &unit in &pair[0].units {
            if pair[1].units.contains(&unit) {
                continue;
            }
            let later = (down + 1..legs.len()).find(|leg| legs[*leg].units.contains(&unit));
            found.extend(later.map(|up| Pause { unit, down, up }));
        }
    }
    found
}

/// Whether the unit can stay aboard, and does from now on.
fn bridge(state: &mut State, crew: usize, pause: &Pause, scratch: &mut Option<Route>) -> bool {
    let model = state.model;
    let class = class_of(model, pause.unit);
    let route = state.routes[crew].copied_to(scratch);
    if is_idle_freight(state, crew, &route.legs, pause.down, pause.unit) {
        return false;
    }
    for leg in &mut route.legs[pause.down..pause.up] {
        if leg.set.has(class) {
            return false;
        }
        leg.set.insert(class);
        leg.units.push(pause.unit);
        leg.units.sort_unstable();
        if model.space(&leg.units) > u64::from(model.crew(crew).load_space) {
            return false;
        }
    }
    for leg in (pause.down..=pause.up).rev() {
        if route.legs[leg].units == route.legs[leg - 1].units {
            // Nothing is left to do there.
            route.remove_call(leg);
        }
    }
    let possible = redue(state, crew, &mut route.legs)
        && route.serve(model, crew).is_ok()
        && route.evaluate(&state.clock(crew)).is_ok();
    let pays = possible && route.cost < state.routes[crew].cost;
    if pays {
        state.put(crew, route);
    }
    pays
}
