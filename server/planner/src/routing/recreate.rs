//! Putting stops back, each at its cheapest place.
//!
//! A place is now and then overlooked ("blink"), so that the same ruin does not always lead to the same plan. The search
//! for a place gets a bound: what costs more than would be accepted is not looked at, and once nothing fits
//! below the bound the whole iteration is given up.

use super::lists::{Lists, Near};
use super::rules::Rules;
use super::settings::Settings;
use super::state::State;

/// No detour costs as much, and a detour over a stop on no route costs more.
const BOUND_MOST: i32 = 1 << 28;

/// Places looked at together.
const CHUNK: usize = 16;

/// A place for a stop.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Place {
    /// Nothing below the bound.
    Nowhere,
    /// Right after this node.
    After(u32),
    /// Left out.
    Bank,
}

/// Orders in which stops are put back.
pub(super) struct Orders {
    /// Per stop: load, cost from the depot, width of the window, its beginning and end.
    keys: Vec<[i32; 4]>,
}

impl Orders {
    pub(super) fn of<R: Rules>(rules: &R) -> Self {
        let depot = rules.start_place(0);
        let keys = (0..rules.stops())
            .map(|stop| {
                let open = rules.begin(stop, 0);
                let close = rules.begin_by(stop, i32::MAX);
                [
                    -rules.demand(stop),
                    rules.cost(depot, stop),
                    close.saturating_sub(open),
                    close,
                ]
            })
            .collect();
        Self { keys }
    }

    /// Sorts by a random order.
    pub(super) fn sort(&self, removed: &mut [u32], rng: &mut fastrand::Rng) {
        // Weights 4 random, 4 load, 2 far, 1 close, 2 width of window, 2 its beginning, 2 its end.
        let draw = rng.u32(..17);
        match draw {
            0..4 => rng.shuffle(removed),
            4..8 => removed.sort_unstable_by_key(|&stop| self.keys[stop as usize][0]),
            8..10 => removed.sort_unstable_by_key(|&stop| -self.keys[stop as usize][1]),
            10 => removed.sort_unstable_by_key(|&stop| self.keys[stop as usize][1]),
            11..13 => removed.sort_unstable_by_key(|&stop| self.keys[stop as usize][2]),
            13..15 => {
                removed.sort_unstable_by_key(|&stop| {
                    self.keys[stop as usize][3] - self.keys[stop as usize][2]
                });
            }
            _ => removed.sort_unstable_by_key(|&stop| -self.keys[stop as usize][3]),
        }
    }
}

/// Puts all of `removed` back. Gives false, with the work half done, once the cost cannot stay below `bound`.
pub(super) fn recreate<R: Rules>(
    state: &mut State<'_, R>,
    lists: &Lists,
    settings: &Settings,
    rng: &mut fastrand::Rng,
    removed: &[u32],
    bound: i64,
) -> bool {
    for &stop in removed {
        let room = bound - state.cost;
        if room <= 0 {
            return false;
        }
        let room = i32::try_from(room).unwrap_or(i32::MAX);
        match find(state, lists, settings, rng, stop as usize, room) {
            Place::Nowhere => return false,
            Place::After(node) => state.insert(stop as usize, node as usize),
            Place::Bank => state.bank_stop(stop as usize),
        }
    }
    state.cost < bound
}

/// What the tests of one place need to know.
struct Trial {
    stop: usize,
    demand: i32,
    best: i32,
    place: Place,
}

fn find<R: Rules>(
    state: &mut State<'_, R>,
    lists: &Lists,
    settings: &Settings,
    rng: &mut fastrand::Rng,
    stop: usize,
    bound: i32,
) -> Place {
    let rules = state.rules;
    let mut trial = Trial {
        stop,
        demand: rules.demand(stop),
        best: bound.min(BOUND_MOST),
        place: Place::Nowhere,
    };
    let skip = rules.skip_cost(stop);
    // Leaving out is overlooked too: two stops may be worth a route that neither is worth alone.
    if skip < trial.best && rng.f64() >= settings.skip_blink_chance {
        trial.best = skip;
        trial.place = Place::Bank;
    }
    for some in lists.before(stop).chunks(CHUNK) {
        if !trial.gather::<R, true>(state, settings, rng, some) {
            break;
        }
    }
    for some in lists.after(stop).chunks(CHUNK) {
        if !trial.gather::<R, false>(state, settings, rng, some) {
            break;
        }
    }
    let mut unused = false;
    for kind in 0..state.kinds() {
        let Some(route) = state.empty_route(kind) else {
            continue;
        };
        unused = true;
        let start = state.start(route);
        let delta = trial.detour(state, start);
        if delta < trial.best {
            trial.test(state, settings, rng, start, delta);
        }
    }
    if !unused && !matches!(trial.place, Place::After(_)) {
        trial.everywhere(state, settings, rng);
    }
    if trial.place == Place::Nowhere && skip < bound {
        Place::Bank
    } else {
        trial.place
    }
}

impl Trial {
    /// Tries the places beside the stops of a piece of a neighbour list.
    ///
    /// First all detours, without a branch, then the feasibility of those cheap enough.
    #[inline]
    fn gather<R: Rules, const AFTER: bool>(
        &mut self,
        state: &State<'_, R>,
        settings: &Settings,
        rng: &mut fastrand::Rng,
        list: &[Near],
    ) -> bool {
        let rules = state.rules;
        let mut found = [(0_i32, 0_u32); CHUNK];
        let mut count = 0;
        for near in list {
            let node = &state.nodes[near.stop as usize];
            let (beside, leg) = if AFTER {
                (node.next, node.edge)
            } else {
                (node.prev, node.back)
            };
            let other = if AFTER || R::UNIFORM {
                rules.cost(self.stop, state.place(beside))
            } else {
                rules.cost(state.place(beside), self.stop)
            };
            let delta = near.cost + other - leg;
            // A nearer neighbour on the other side has this place in its own list.
            let twice = R::UNIFORM
                && (beside as usize) < state.stops
                && if AFTER {
                    other < near.cost
                } else {
                    other <= near.cost
                };
            found[count % CHUNK] = (delta, if AFTER { near.stop } else { beside });
            count += usize::from(delta < self.best) & usize::from(!twice);
        }
        for &(delta, after) in &found[..count.min(CHUNK)] {
            if delta < self.best {
                self.test(state, settings, rng, after as usize, delta);
            }
        }
        count > 0
    }

    /// Cost of the detour over the stop after node `after`.
    fn detour<R: Rules>(&self, state: &State<'_, R>, after: usize) -> i32 {
        let node = &state.nodes[after];
        let (from, to) = (state.place(after as u32), state.place(node.next));
        state.rules.cost(from, self.stop) + state.rules.cost(self.stop, to) - node.edge
    }

    /// Tries every place on every used route: for when the lists offer none and no route is free.
    fn everywhere<R: Rules>(
        &mut self,
        state: &State<'_, R>,
        settings: &Settings,
        rng: &mut fastrand::Rng,
    ) {
        for route in 0..state.routes.len() {
            if state.routes[route].size == 0 {
                continue;
            }
            let mut after = state.start(route);
            let end = state.end(route);
            while after != end {
                let delta = self.detour(state, after);
                if delta < self.best {
                    self.test(state, settings, rng, after, delta);
                }
                after = state.nodes[after].next as usize;
            }
        }
    }

    /// Takes the place after node `after`, whose detour costs `delta` < best, if it is feasible.
    #[inline]
    fn test<R: Rules>(
        &mut self,
        state: &State<'_, R>,
        settings: &Settings,
        rng: &mut fastrand::Rng,
        after: usize,
        mut delta: i32,
    ) {
        let rules = state.rules;
        let node = &state.nodes[after];
        let route = node.route as usize;
        if state.routes[route].load + self.demand > rules.capacity(route) {
            return;
        }
        let next_at = node.next as usize;
        let next = &state.nodes[next_at];
        if R::LOCKS && next_at < state.stops && rules.locked(next_at) {
            return;
        }
        if R::ADMISSION {
            match rules.assign_cost(route, self.stop) {
                Some(cost) => delta = delta.saturating_add(cost),
                None => return,
            }
            if delta >= self.best {
                return;
            }
        }
        let begin = rules.begin(
            self.stop,
            rules.arrive(state.place(after as u32), self.stop, node.depart),
        );
        if begin == i32::MAX {
            return;
        }
        let depart = begin + rules.service(route, self.stop);
        let arrive = rules.arrive(self.stop, state.place(node.next), depart);
        if arrive > next.latest {
            return;
        }
        if R::END_COST {
            let end = end_time(state, route, next_at, arrive);
            delta = delta.saturating_add(rules.end_cost(route, end) - state.routes[route].end_cost);
            if delta >= self.best {
                return;
            }
        }
        if rng.f64() < settings.blink_chance {
            return;
        }
        self.best = delta;
        self.place = Place::After(after as u32);
    }
}

/// Time at the end of `route` when node `at` on it is reached at `arrive`.
fn end_time<R: Rules>(state: &State<'_, R>, route: usize, mut at: usize, mut arrive: i32) -> i32 {
    while at < state.stops {
        let node = &state.nodes[at];
        let depart = state
            .rules
            .begin(at, arrive)
            .saturating_add(state.rules.service(route, at));
        if depart == node.depart {
            return state.nodes[state.end(route)].depart;
        }
        arrive = state.rules.arrive(at, state.place(node.next), depart);
        at = node.next as usize;
    }
    arrive
}
