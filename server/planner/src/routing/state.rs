//! The solution inside the search: indexed by node, with a log to undo an iteration.
//!
//! A route is a chain of nodes between two sentinels. Each node carries what an insertion test needs (when a vehicle
//! leaves it, how late it may begin, the cost of the leg to the next), so a test is O(1) and touches two nodes. Nothing
//! is cloned in an iteration: a node or route is copied to the log at its first change, and a rejected iteration copies
//! those few back.

use super::rules::Rules;

/// No node, no route.
pub(super) const NONE: u32 = u32::MAX;

/// Leg cost of a stop on no route: makes every detour over it cost more than any other.
const OFF_ROUTE: i32 = -(1 << 29);

/// A stop or a sentinel.
#[derive(Debug, Clone, Copy)]
#[repr(align(32))]
pub(super) struct Node {
    pub(super) next: u32,
    pub(super) prev: u32,
    /// Route, or [`NONE`] when the stop is not on any.
    pub(super) route: u32,
    /// Cost of the leg to `next`.
    pub(super) edge: i32,
    /// Cost of the leg from `prev`.
    pub(super) back: i32,
    /// Time of leaving.
    pub(super) depart: i32,
    /// Latest beginning of service for which the rest of the route stays feasible.
    pub(super) latest: i32,
    /// Iteration that logged this node last.
    mark: u32,
}

/// What is kept for a route beside its nodes.
#[derive(Debug, Clone, Copy)]
pub(super) struct Route {
    pub(super) load: i32,
    pub(super) size: u32,
    /// Sum of the keys of its stops: tells sets of stops apart.
    pub(super) hash: u64,
    pub(super) end_cost: i32,
    mark: u32,
}

/// The solution the search works on.
pub(super) struct State<'r, R: Rules> {
    pub(super) rules: &'r R,
    pub(super) stops: usize,
    pub(super) nodes: Vec<Node>,
    pub(super) routes: Vec<Route>,
    /// Stops left out, their skip costs paid.
    pub(super) bank: Vec<u32>,
    /// Total cost; while an iteration runs, without the stops taken out and not yet put back.
    pub(super) cost: i64,
    /// Number of routes in use.
    pub(super) used: usize,
    /// Places of the sentinels.
    ends: Vec<u32>,
    hash_keys: Vec<u64>,
    /// Stacks of routes believed empty, by kind; entries are checked when used.
    empty: Vec<Vec<u32>>,
    listed: Vec<bool>,
    mark: u32,
    node_log: Vec<(u32, Node)>,
    route_log: Vec<(u32, Route)>,
    bank_before: Vec<u32>,
    cost_before: i64,
    used_before: usize,
}

impl<'r, R: Rules> State<'r, R> {
    /// The empty plan: every stop in the bank.
    pub(super) fn new(rules: &'r R) -> Self {
        let stops = rules.stops();
        let count = rules.routes();
        let mut nodes: Vec<Node> = (0..stops)
            .map(|_| Node {
                next: 0,
                prev: 0,
                route: NONE,
                edge: OFF_ROUTE,
                back: OFF_ROUTE,
                depart: 0,
                latest: 0,
                mark: 0,
            })
            .collect();
        let mut kinds = 0;
        let mut ends = Vec::with_capacity(2 * count);
        for route in 0..count {
            let start = (stops + 2 * route) as u32;
            let end = start + 1;
            let blank = Node {
                next: end,
                prev: NONE,
                route: route as u32,
                edge: -rules.open_cost(route),
                back: 0,
                depart: rules.start_time(route),
                latest: rules.end_time(route),
                mark: 0,
            };
            ends.extend([
                rules.start_place(route) as u32,
                rules.end_place(route) as u32,
            ]);
            nodes.push(blank);
            nodes.push(Node {
                next: NONE,
                prev: start,
                edge: 0,
                back: -rules.open_cost(route),
                ..blank
            });
            kinds = kinds.max(rules.kind(route) + 1);
        }
        let mut empty = vec![Vec::new(); kinds];
        for route in (0..count).rev() {
            empty[rules.kind(route)].push(route as u32);
        }
        // Fixed keys: a hash must mean the same in every thread and run.
        let mut keys = fastrand::Rng::with_seed(0x5eed_0001);
        Self {
            rules,
            stops,
            nodes,
            routes: vec![
                Route {
                    load: 0,
                    size: 0,
                    hash: 0,
                    end_cost: 0,
                    mark: 0
                };
                count
            ],
            bank: (0..stops as u32).collect(),
            cost: (0..stops)
                .map(|stop| i64::from(rules.skip_cost(stop)))
                .sum(),
            used: 0,
            ends,
            hash_keys: (0..stops).map(|_| keys.u64(..)).collect(),
            empty,
            listed: vec![true; count],
            mark: 0,
            node_log: Vec::new(),
            route_log: Vec::new(),
            bank_before: Vec::new(),
            cost_before: 0,
            used_before: 0,
        }
    }

    #[inline]
    pub(super) fn start(&self, route: usize) -> usize {
        self.stops + 2 * route
    }

    #[inline]
    pub(super) fn end(&self, route: usize) -> usize {
        self.stops + 2 * route + 1
    }

    /// The place of a node.
    #[inline]
    pub(super) fn place(&self, at: u32) -> usize {
        let at = at as usize;
        if R::UNIFORM {
            at.min(self.stops)
        } else if at < self.stops {
            at
        } else {
            self.ends[at - self.stops] as usize
        }
    }

    /// The stops of a route in order.
    pub(super) fn stops_of(&self, route: usize) -> impl Iterator<Item = u32> {
        let mut at = self.nodes[self.start(route)].next;
        let stops = self.stops;
        std::iter::from_fn(move || {
            let stop = at;
            if stop as usize >= stops {
                return None;
            }
            at = self.nodes[stop as usize].next;
            Some(stop)
        })
    }

    /// Starts an iteration: [`State::undo`] comes back to here.
    pub(super) fn begin(&mut self) {
        if self.mark == u32::MAX {
            self.nodes.iter_mut().for_each(|node| node.mark = 0);
            self.routes.iter_mut().for_each(|route| route.mark = 0);
            self.mark = 0;
        }
        self.mark += 1;
        self.node_log.clear();
        self.route_log.clear();
        self.bank_before.clone_from(&self.bank);
        self.cost_before = self.cost;
        self.used_before = self.used;
    }

    /// Takes back every change since [`State::begin`].
    pub(super) fn undo(&mut self) {
        for &(at, node) in &self.node_log {
            self.nodes[at as usize] = node;
        }
        for at in 0..self.route_log.len() {
            let (route, old) = self.route_log[at];
            self.routes[route as usize] = old;
            if old.size == 0 {
                self.list_empty(route as usize);
            }
        }
        self.bank.clone_from(&self.bank_before);
        self.cost = self.cost_before;
        self.used = self.used_before;
        self.node_log.clear();
        self.route_log.clear();
    }

    /// Cost when the iteration began.
    pub(super) fn cost_before(&self) -> i64 {
        self.cost_before
    }

    /// Routes changed since [`State::begin`].
    pub(super) fn changed(&self) -> impl Iterator<Item = usize> + '_ {
        self.route_log.iter().map(|&(route, _)| route as usize)
    }

    /// Cost of the legs of a route.
    pub(super) fn legs(&self, route: usize) -> i32 {
        let mut cost = 0;
        let mut at = self.start(route);
        while at != self.end(route) {
            cost += self.nodes[at].edge;
            at = self.nodes[at].next as usize;
        }
        cost
    }

    /// Replaces the whole plan. Outside an iteration only.
    pub(super) fn load<'p>(
        &mut self,
        plan: impl Iterator<Item = (usize, &'p [u32])>,
        skipped: &[u32],
    ) {
        self.begin();
        for route in 0..self.routes.len() {
            let mut at = self.nodes[self.start(route)].next as usize;
            while at < self.stops {
                let next = self.nodes[at].next as usize;
                self.unlink(at);
                at = next;
            }
            self.refresh(self.start(route), self.end(route));
        }
        while !self.bank.is_empty() {
            self.unbank(0);
        }
        for (route, stops) in plan {
            for &stop in stops {
                self.insert(stop as usize, self.nodes[self.end(route)].prev as usize);
            }
        }
        for &stop in skipped {
            self.bank_stop(stop as usize);
        }
    }

    #[inline]
    fn touch(&mut self, at: usize) {
        let node = &mut self.nodes[at];
        if node.mark != self.mark {
            self.node_log.push((at as u32, *node));
            node.mark = self.mark;
        }
    }

    #[inline]
    fn touch_route(&mut self, at: usize) {
        let route = &mut self.routes[at];
        if route.mark != self.mark {
            self.route_log.push((at as u32, *route));
            route.mark = self.mark;
        }
    }

    fn list_empty(&mut self, route: usize) {
        if !self.listed[route] {
            self.listed[route] = true;
            self.empty[self.rules.kind(route)].push(route as u32);
        }
    }

    /// Number of kinds of route.
    pub(super) fn kinds(&self) -> usize {
        self.empty.len()
    }

    /// An unused route of a kind.
    pub(super) fn empty_route(&mut self, kind: usize) -> Option<usize> {
        while let Some(&route) = self.empty[kind].last() {
            if self.routes[route as usize].size == 0 {
                return Some(route as usize);
            }
            self.empty[kind].pop();
            self.listed[route as usize] = false;
        }
        None
    }

    /// Puts `stop` (on no route, not in the bank) right after node `after`. The caller has checked feasibility.
    pub(super) fn insert(&mut self, stop: usize, after: usize) {
        let before = self.nodes[after].next as usize;
        let route = self.nodes[after].route as usize;
        self.touch(stop);
        self.touch(after);
        self.touch(before);
        self.touch_route(route);
        let into = self.rules.cost(self.place(after as u32), stop);
        let out = self.rules.cost(stop, self.place(before as u32));
        self.cost += i64::from(into) + i64::from(out) - i64::from(self.nodes[after].edge);
        self.nodes[after].next = stop as u32;
        self.nodes[after].edge = into;
        self.nodes[before].prev = stop as u32;
        self.nodes[before].back = out;
        let node = &mut self.nodes[stop];
        node.next = before as u32;
        node.prev = after as u32;
        node.route = route as u32;
        node.edge = out;
        node.back = into;
        if R::ADMISSION {
            self.cost += i64::from(self.rules.assign_cost(route, stop).unwrap_or(0));
        }
        let entry = &mut self.routes[route];
        self.used += usize::from(entry.size == 0);
        entry.load += self.rules.demand(stop);
        entry.size += 1;
        entry.hash = entry.hash.wrapping_add(self.hash_keys[stop]);
        self.refresh(after, before);
    }

    /// Takes `stop` off its route without bringing the times up to date; [`State::refresh`] must follow.
    pub(super) fn unlink(&mut self, stop: usize) {
        let Node {
            next,
            prev,
            route,
            edge,
            ..
        } = self.nodes[stop];
        let (before, after, route) = (prev as usize, next as usize, route as usize);
        self.touch(stop);
        self.touch(before);
        self.touch(after);
        self.touch_route(route);
        let entry = &mut self.routes[route];
        entry.load -= self.rules.demand(stop);
        entry.size -= 1;
        entry.hash = entry.hash.wrapping_sub(self.hash_keys[stop]);
        let leg = if entry.size == 0 {
            self.used -= 1;
            self.list_empty(route);
            -self.rules.open_cost(route)
        } else {
            self.rules
                .cost(self.place(before as u32), self.place(after as u32))
        };
        self.cost += i64::from(leg) - i64::from(self.nodes[before].edge) - i64::from(edge);
        if R::ADMISSION {
            self.cost -= i64::from(self.rules.assign_cost(route, stop).unwrap_or(0));
        }
        self.nodes[before].next = after as u32;
        self.nodes[before].edge = leg;
        self.nodes[after].prev = before as u32;
        self.nodes[after].back = leg;
        let node = &mut self.nodes[stop];
        node.route = NONE;
        // No detour over a stop that is on no route can look cheap.
        node.edge = OFF_ROUTE;
        node.back = OFF_ROUTE;
    }

    /// Load of a route from `at` to its end.
    pub(super) fn tail_load(&self, mut at: usize) -> i32 {
        let mut load = 0;
        while at < self.stops {
            load += self.rules.demand(at);
            at = self.nodes[at].next as usize;
        }
        load
    }

    /// Exchanges what follows nodes `first` and `second`, of two different routes that are alike. The caller has
    /// checked feasibility and reckoned the change of cost. Outside an iteration only: not logged.
    pub(super) fn exchange_tails(&mut self, first: usize, second: usize, delta: i32) {
        let (one, two) = (
            self.nodes[first].route as usize,
            self.nodes[second].route as usize,
        );
        let was_used =
            usize::from(self.routes[one].size > 0) + usize::from(self.routes[two].size > 0);
        let (after_first, after_second) = (
            self.nodes[first].next as usize,
            self.nodes[second].next as usize,
        );
        let from_one = self.cut_tail(after_first, two);
        let from_two = self.cut_tail(after_second, one);
        self.join(first, after_second, one, from_two);
        self.join(second, after_first, two, from_one);
        self.cost += i64::from(delta);
        let now_used =
            usize::from(self.routes[one].size > 0) + usize::from(self.routes[two].size > 0);
        self.used = self.used + now_used - was_used;
        for (head, route) in [(first, one), (second, two)] {
            let next = self.nodes[head].next as usize;
            self.refresh(head, next);
            if self.routes[route].size == 0 {
                self.list_empty(route);
            }
        }
    }

    /// Moves the stops from `at` on to the books of `route`; gives the last of them.
    fn cut_tail(&mut self, mut at: usize, route: usize) -> Option<usize> {
        let mut last = None;
        while at < self.stops {
            let from = self.nodes[at].route as usize;
            let (load, hash) = (self.rules.demand(at), self.hash_keys[at]);
            let entry = &mut self.routes[from];
            entry.load -= load;
            entry.size -= 1;
            entry.hash = entry.hash.wrapping_sub(hash);
            let entry = &mut self.routes[route];
            entry.load += load;
            entry.size += 1;
            entry.hash = entry.hash.wrapping_add(hash);
            self.nodes[at].route = route as u32;
            last = Some(at);
            at = self.nodes[at].next as usize;
        }
        last
    }

    /// Links `head` to the chain from `tail` to `last`, or to the end of `route` when there is no chain.
    fn join(&mut self, head: usize, tail: usize, route: usize, last: Option<usize>) {
        let end = self.end(route);
        let follow = if let Some(last) = last {
            let leg = self.nodes[last].edge;
            self.nodes[last].next = end as u32;
            self.nodes[end].prev = last as u32;
            self.nodes[end].back = leg;
            tail
        } else {
            end
        };
        let leg = if self.routes[route].size == 0 {
            -self.rules.open_cost(route)
        } else {
            self.rules
                .cost(self.place(head as u32), self.place(follow as u32))
        };
        self.nodes[head].next = follow as u32;
        self.nodes[head].edge = leg;
        self.nodes[follow].prev = head as u32;
        self.nodes[follow].back = leg;
    }

    /// Brings times up to date after changes that lie between nodes `first` and `last` of one route.
    pub(super) fn refresh(&mut self, first: usize, last: usize) {
        let route = self.nodes[first].route as usize;
        self.refresh_forward(first, last, route);
        self.refresh_backward(last, first, route);
        if R::END_COST {
            let end = self.nodes[self.end(route)];
            let now = if self.routes[route].size == 0 {
                0
            } else {
                self.rules.end_cost(route, end.depart)
            };
            self.cost += i64::from(now) - i64::from(self.routes[route].end_cost);
            self.routes[route].end_cost = now;
        }
    }

    fn refresh_forward(&mut self, first: usize, last: usize, route: usize) {
        let mut place = self.place(first as u32);
        let mut depart = self.nodes[first].depart;
        let mut at = self.nodes[first].next as usize;
        let mut beyond = false;
        while at < self.stops {
            beyond |= at == last;
            let arrive = self.rules.arrive(place, at, depart);
            depart = self
                .rules
                .begin(at, arrive)
                .saturating_add(self.rules.service(route, at));
            if self.nodes[at].depart == depart {
                if beyond {
                    return;
                }
            } else {
                self.touch(at);
                self.nodes[at].depart = depart;
            }
            place = at;
            at = self.nodes[at].next as usize;
        }
        if R::END_COST {
            self.touch(at);
            self.nodes[at].depart = self.rules.arrive(place, self.place(at as u32), depart);
        }
    }

    fn refresh_backward(&mut self, last: usize, first: usize, route: usize) {
        let mut place = self.place(last as u32);
        let mut latest = self.nodes[last].latest;
        let mut at = self.nodes[last].prev as usize;
        let mut beyond = false;
        while at < self.stops {
            beyond |= at == first;
            let by = self.rules.leave_by(at, place, latest) - self.rules.service(route, at);
            latest = self.rules.begin_by(at, by);
            if self.nodes[at].latest == latest {
                if beyond {
                    return;
                }
            } else {
                self.touch(at);
                self.nodes[at].latest = latest;
            }
            place = at;
            at = self.nodes[at].prev as usize;
        }
    }

    /// Leaves `stop` (on no route) out of the plan for its skip cost.
    pub(super) fn bank_stop(&mut self, stop: usize) {
        self.bank.push(stop as u32);
        self.cost += i64::from(self.rules.skip_cost(stop));
    }

    /// Takes the bank's entry at `at` out, to be put on a route.
    pub(super) fn unbank(&mut self, at: usize) -> usize {
        let stop = self.bank.swap_remove(at) as usize;
        self.cost -= i64::from(self.rules.skip_cost(stop));
        stop
    }
}
