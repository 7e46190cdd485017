//! Ruin by removal of adjacent strings.
//!
//! Around a random stop, a string of stops is taken out of each of a few neighbouring routes, sometimes keeping a piece
//! in its middle. Neighbouring gaps in neighbouring routes are what lets stops change places. After Christiaens and
//! Vanden Berghe, Slack Induction by String Removals for Vehicle Routing Problems, Transportation Science 54(2), 2020.

use super::lists::Lists;
use super::rules::Rules;
use super::settings::Settings;
use super::state::{NONE, State};

/// Stops of the bank that a ruin adds to those to be put back.
const BANK_SHARE: usize = 5;

/// How many times as much a big ruin takes out, and how many times longer its strings are.
const BIG: (f64, f64) = (1.5, 3.0);

/// Routes are long when they hold so many of the longest strings on average.
const LONG: f64 = 1.5;

/// Takes strings out; the stops taken out are appended to `removed`.
pub(super) fn strings<R: Rules>(
    state: &mut State<'_, R>,
    lists: &Lists,
    settings: &Settings,
    rng: &mut fastrand::Rng,
    removed: &mut Vec<u32>,
) {
    let seed = rng.usize(..state.stops);
    for _ in 0..BANK_SHARE.min(state.bank.len()) {
        let at = rng.usize(..state.bank.len());
        removed.push(state.unbank(at) as u32);
    }
    if state.used == 0 {
        return;
    }
    let placed = state.stops - state.bank.len() - removed.len();
    let mean_size = placed as f64 / state.used as f64;
    // Short strings leave the order of a long route as it is: some ruins take longer strings.
    let (mean, longest) =
        if mean_size > LONG * settings.string_most && rng.f64() < settings.big_chance {
            (BIG.0 * settings.removal_mean, BIG.1 * settings.string_most)
        } else {
            (settings.removal_mean, settings.string_most)
        };
    let string_most = longest.min(mean_size).max(1.0);
    let count_most = 4.0 * mean / (1.0 + string_most) - 1.0;
    let count = (rng.f64() * count_most + 1.0) as usize;
    let mut ruined = 0;
    // A route from which a string was taken must not be ruined again.
    let mut done = [NONE; 16];
    let mut visit = |stop: usize, state: &mut State<'_, R>, removed: &mut Vec<u32>| {
        let route = state.nodes[stop].route;
        if route == NONE || done[..ruined].contains(&route) {
            return false;
        }
        done[ruined] = route;
        ruined += 1;
        let size = state.routes[route as usize].size as usize;
        let most = string_most.min(size as f64);
        let length = (rng.f64() * most + 1.0) as usize;
        string(state, settings, rng, stop, length.min(size), removed);
        ruined >= count.min(done.len())
    };
    if visit(seed, state, removed) {
        return;
    }
    for near in lists.around(seed) {
        if visit(near.stop as usize, state, removed) {
            break;
        }
    }
}

/// Takes `length` stops around `stop` out of its route, with some probability leaving a piece in between.
fn string<R: Rules>(
    state: &mut State<'_, R>,
    settings: &Settings,
    rng: &mut fastrand::Rng,
    stop: usize,
    length: usize,
    removed: &mut Vec<u32>,
) {
    let size = state.routes[state.nodes[stop].route as usize].size as usize;
    let mut kept = 0;
    if length > 1 && length < size && rng.f64() < settings.split_chance {
        kept = 1;
        while length + kept < size && rng.f64() < settings.split_depth {
            kept += 1;
        }
    }
    let span = length + kept;
    // How many stops there are before and after, as far as the span reaches.
    let mut back = 0;
    let mut start = stop;
    while back + 1 < span && (state.nodes[start].prev as usize) < state.stops {
        start = state.nodes[start].prev as usize;
        back += 1;
    }
    let mut ahead = 0;
    let mut end = stop;
    while ahead + 1 < span && (state.nodes[end].next as usize) < state.stops {
        end = state.nodes[end].next as usize;
        ahead += 1;
    }
    // The first stop of the span lies between `low` and `back` stops before `stop`.
    let low = (span - 1).saturating_sub(ahead);
    let skip = back - rng.usize(low..=back);
    let mut at = start;
    for _ in 0..skip {
        at = state.nodes[at].next as usize;
    }
    let gap = if kept > 0 {
        rng.usize(1..length)
    } else {
        length
    };
    let first = state.nodes[at].prev as usize;
    for step in 0..span {
        let next = state.nodes[at].next as usize;
        let stays = (gap..gap + kept).contains(&step) || (R::LOCKS && state.rules.locked(at));
        if !stays {
            state.unlink(at);
            removed.push(at as u32);
        }
        at = next;
    }
    state.refresh(first, at);
}
