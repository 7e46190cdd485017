//! Exchange of route tails.
//!
//! Removal of short strings cannot move the long rest of a route; two routes that should have crossed stay as they are.
//! This move joins the head of one route to the tail of another and the other way round (2-opt*: Potvin and Rousseau,
//! An exchange heuristic for routing problems with time windows, Journal of the Operational Research Society 46(12),
//! 1995). Times are tested in O(1), loads along one route. Tails may only change routes where routes are alike.

use super::lists::Lists;
use super::rules::Rules;
use super::state::{NONE, State};

/// Looks for the cheapest exchange that makes a random stop follow one of its neighbours, or start a route of its own,
/// and applies it if it changes the cost by less than `slack`. Gives whether something changed.
pub(super) fn exchange<R: Rules>(
    state: &mut State<'_, R>,
    lists: &Lists,
    rng: &mut fastrand::Rng,
    slack: i32,
) -> bool {
    let stop = rng.usize(..state.stops);
    let node = state.nodes[stop];
    if node.route == NONE {
        return false;
    }
    let mut best = slack;
    let mut head = None;
    for near in lists.before(stop) {
        let other = &state.nodes[near.stop as usize];
        // Never both: arcs (other, stop) and (prev, next of other) replace (other, its next) and (prev, stop).
        let fixed = near.cost - other.edge - node.back;
        if fixed >= best || other.route == node.route {
            continue;
        }
        let rest = state
            .rules
            .cost(state.place(node.prev), state.place(other.next));
        let emptied = node.prev as usize >= state.stops && other.next as usize >= state.stops;
        let delta = fixed + rest - if emptied { state.rules.open_cost(0) } else { 0 };
        if delta < best && fits(state, near.stop as usize, stop) {
            best = delta;
            head = Some(near.stop as usize);
        }
    }
    if (node.prev as usize) < state.stops
        && let Some(route) = state.empty_route(0)
    {
        let depot = state.rules.start_place(route);
        let legs = state.rules.cost(depot, stop) + state.rules.cost(node.prev as usize, depot);
        let delta = legs - node.back + state.rules.open_cost(route);
        if delta < best {
            best = delta;
            head = Some(state.start(route));
        }
    }
    let Some(head) = head else { return false };
    state.exchange_tails(head, node.prev as usize, best);
    true
}

/// Whether the tail from `stop` can follow `head`, and what followed `head` can follow what preceded `stop`.
fn fits<R: Rules>(state: &State<'_, R>, head: usize, stop: usize) -> bool {
    let rules = state.rules;
    let prev = state.nodes[stop].prev;
    let next = state.nodes[head].next;
    let (head_node, prev_node) = (&state.nodes[head], &state.nodes[prev as usize]);
    if rules.arrive(head, stop, head_node.depart) > state.nodes[stop].latest
        || rules.arrive(state.place(prev), state.place(next), prev_node.depart)
            > state.nodes[next as usize].latest
    {
        return false;
    }
    let (mine, other) = (head_node.route as usize, prev_node.route as usize);
    let (mine_tail, other_tail) = (state.tail_load(next as usize), state.tail_load(stop));
    state.routes[mine].load - mine_tail + other_tail <= rules.capacity(mine)
        && state.routes[other].load - other_tail + mine_tail <= rules.capacity(other)
}
