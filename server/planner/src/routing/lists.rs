//! Neighbour lists: for each stop the nearest others, and the nearest that can come right before or right after it.

use super::budget::Cancel;
use super::rules::Rules;

/// One entry of a neighbour list.
#[derive(Debug, Clone, Copy)]
pub(super) struct Near {
    pub(super) stop: u32,
    /// Cost of the leg between the two stops, in the direction of the list.
    pub(super) cost: i32,
}

/// Lists of at most `width` entries for each stop, nearest first.
#[derive(Debug, Clone)]
struct Table {
    entries: Vec<Near>,
    ends: Vec<u32>,
}

impl Table {
    fn with_capacity(stops: usize, width: usize) -> Self {
        let mut ends = Vec::with_capacity(stops + 1);
        ends.push(0);
        Self {
            entries: Vec::with_capacity(stops * width),
            ends,
        }
    }

    /// Appends the list of the next stop: the `width` least of `keys` (cost in the high half, stop in the low).
    fn push(&mut self, keys: &mut Vec<u64>, width: usize) {
        if keys.len() > width {
            keys.select_nth_unstable(width);
            keys.truncate(width);
        }
        keys.sort_unstable();
        self.entries.extend(keys.iter().map(|&key| Near {
            stop: low(key),
            cost: (key >> 32) as i32,
        }));
        self.ends.push(self.entries.len() as u32);
    }

    #[inline]
    fn of(&self, stop: usize) -> &[Near] {
        &self.entries[self.ends[stop] as usize..self.ends[stop + 1] as usize]
    }
}

fn key(cost: i32, stop: usize) -> u64 {
    (u64::from(cost.cast_unsigned()) << 32) | stop as u64
}

fn low(key: u64) -> u32 {
    (key & u64::from(u32::MAX)) as u32
}

/// All neighbour lists of a problem.
#[derive(Debug, Clone)]
pub(super) struct Lists {
    around: Table,
    before: Table,
    after: Table,
}

impl Lists {
    /// Builds the lists in O(n² + n w log w), or gives `None` when cancelled.
    pub(super) fn build<R: Rules>(
        rules: &R,
        around: usize,
        beside: usize,
        cancel: &Cancel,
    ) -> Option<Self> {
        let stops = rules.stops();
        let frame = Frame::of(rules);
        let mut lists = Self {
            around: Table::with_capacity(stops, around),
            before: Table::with_capacity(stops, beside),
            after: Table::with_capacity(stops, beside),
        };
        let mut near = Vec::with_capacity(stops);
        let mut prior = Vec::with_capacity(stops);
        let mut later = Vec::with_capacity(stops);
        for stop in 0..stops {
            if cancel.is_raised() {
                return None;
            }
            near.clear();
            prior.clear();
            later.clear();
            for other in (0..stops).filter(|&other| other != stop) {
                let to = rules.cost(stop, other);
                let from = if R::UNIFORM {
                    to
                } else {
                    rules.cost(other, stop)
                };
                near.push(key(to.min(from), other));
                if frame.may_follow(rules, other, stop) {
                    prior.push(key(from, other));
                }
                if frame.may_follow(rules, stop, other) {
                    later.push(key(to, other));
                }
            }
            lists.around.push(&mut near, around);
            lists.before.push(&mut prior, beside);
            lists.after.push(&mut later, beside);
        }
        Some(lists)
    }

    /// Stops near `stop`, nearest first.
    #[inline]
    pub(super) fn around(&self, stop: usize) -> &[Near] {
        self.around.of(stop)
    }

    /// Stops that can come right before `stop`.
    #[inline]
    pub(super) fn before(&self, stop: usize) -> &[Near] {
        self.before.of(stop)
    }

    /// Stops that can come right after `stop`.
    #[inline]
    pub(super) fn after(&self, stop: usize) -> &[Near] {
        self.after.of(stop)
    }
}

/// The widest span of time in which each stop can be served by any route.
struct Frame {
    ready: Vec<i32>,
    latest: Vec<i32>,
}

impl Frame {
    fn of<R: Rules>(rules: &R) -> Self {
        let routes = if R::UNIFORM { 1 } else { rules.routes() };
        let mut frame = Self {
            ready: Vec::new(),
            latest: Vec::new(),
        };
        for stop in 0..rules.stops() {
            let service = rules.service_least(stop);
            let (mut ready, mut latest) = (i32::MAX, i32::MIN);
            for route in 0..routes {
                let arrive = rules.arrive(rules.start_place(route), stop, rules.start_time(route));
                ready = ready.min(rules.begin(stop, arrive));
                let leave = rules.leave_by(stop, rules.end_place(route), rules.end_time(route));
                latest = latest.max(rules.begin_by(stop, leave - service));
            }
            frame.ready.push(ready.saturating_add(service));
            frame.latest.push(latest);
        }
        frame
    }

    /// Whether `second` can ever come right after `first`. Never false for a feasible pair.
    fn may_follow<R: Rules>(&self, rules: &R, first: usize, second: usize) -> bool {
        let ready = self.ready[first];
        ready < i32::MAX && rules.arrive(first, second, ready) <= self.latest[second]
    }
}
