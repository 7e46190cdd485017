//! The search loop: ruin, recreate, accept or undo.
//!
//! A plan is accepted unless it is dearer by more than a threshold ("heat") that falls: Dueck and Scheuer, "Threshold
//! Accepting", Journal of Computational Physics 90(1), 1990 (from memory).

use super::budget::{Budget, Cancel};
use super::cycles::{self, Kind, Scale};
use super::lists::Lists;
use super::plan::RoutePlan;
use super::pool::{Kept, Pool};
use super::recombine::recombine;
use super::recreate::{Orders, recreate};
use super::ruin;
use super::rules::Rules;
use super::settings::Settings;
use super::state::State;
use super::tails;

/// Iterations between two looks at the budget and the cancel flag: well under a millisecond.
const POLL: u64 = 32;

/// Largest share of the budget that one recombination may take.
const RECOMBINE_SHARE: f64 = 0.02;

/// Share of the search after which the rate of iterations is known.
const RATE_KNOWN: f64 = 0.01;
/// Share of a cycle after which routes are collected for recombination.
const COLLECT_FROM: f64 = 0.4;
/// Shares of a cycle at which routes are recombined.
const CALLS: [f64; 5] = [0.6, 0.7, 0.8, 0.9, 0.97];

/// A plan as links: `next` of every node, and the bank.
#[derive(Debug, Clone)]
struct Order {
    next: Vec<u32>,
    bank: Vec<u32>,
    cost: i64,
}

impl Default for Order {
    fn default() -> Self {
        Self {
            next: Vec::new(),
            bank: Vec::new(),
            cost: i64::MAX,
        }
    }
}

/// One search on one thread.
pub(super) struct Search<'r, R: Rules> {
    state: State<'r, R>,
    lists: &'r Lists,
    settings: &'r Settings,
    orders: Orders,
    rng: fastrand::Rng,
    removed: Vec<u32>,
    /// Every stop.
    all: Vec<u32>,
    /// Best plan of this cycle.
    best: Order,
    /// Best plan of the cycles ended.
    elite: Order,
    pool: Pool,
    collecting: bool,
    pub(super) iterations: u64,
}

impl<'r, R: Rules> Search<'r, R> {
    pub(super) fn new(rules: &'r R, lists: &'r Lists, settings: &'r Settings, seed: u64) -> Self {
        Self {
            state: State::new(rules),
            lists,
            settings,
            orders: Orders::of(rules),
            rng: fastrand::Rng::with_seed(seed),
            removed: Vec::new(),
            all: (0..rules.stops() as u32).collect(),
            best: Order::default(),
            elite: Order::default(),
            pool: Pool::default(),
            collecting: false,
            iterations: 0,
        }
    }

    /// Builds a first plan by cheapest insertion in a random order. When cancelled, the stops not yet placed are left
    /// out.
    pub(super) fn construct(&mut self, cancel: &Cancel) {
        self.state.load(std::iter::empty(), &self.all);
        let mut waiting = std::mem::take(&mut self.removed);
        waiting.clear();
        while let Some(last) = self.state.bank.len().checked_sub(1) {
            waiting.push(self.state.unbank(last) as u32);
        }
        self.orders.sort(&mut waiting, &mut self.rng);
        for some in waiting.chunks(POLL as usize) {
            if cancel.is_raised() {
                for &stop in some {
                    self.state.bank_stop(stop as usize);
                }
            } else {
                // Without a bound every stop finds a place or the bank.
                recreate(
                    &mut self.state,
                    self.lists,
                    self.settings,
                    &mut self.rng,
                    some,
                    i64::MAX,
                );
            }
        }
        self.removed = waiting;
        self.keep_best();
    }

    /// Takes a plan, known to be valid, as the first.
    pub(super) fn start_from(&mut self, plan: &RoutePlan) {
        let routes = plan
            .routes
            .iter()
            .map(|(route, stops)| (*route, stops.as_slice()));
        self.state.load(routes, &plan.skipped);
        self.keep_best();
    }

    /// Anneals until the share `until` of the budget is spent, in as many cycles as there are iterations for.
    pub(super) fn run(&mut self, budget: &impl Budget, until: f64, cancel: &Cancel) {
        let scale = Scale::of(&self.state);
        let mut hot = scale.hot(self.settings, 0.0);
        let cold = scale.cold(self.settings);
        let mut first = hot;
        let mut heat = hot;
        // What reading, set-up and the first plan took is no part of the schedule.
        let begun = budget.spent(self.iterations).max(0.0) / until;
        let before = self.iterations;
        let mut cycles = None;
        let mut cycle = 0.0;
        let mut calls = 0;
        loop {
            if self.iterations.is_multiple_of(POLL) {
                let spent = budget.spent(self.iterations).max(0.0) / until;
                if spent >= 1.0 || cancel.is_raised() {
                    break;
                }
                let spent = (spent - begun) / (1.0 - begun);
                if cycles.is_none() && spent >= RATE_KNOWN {
                    let total = (self.iterations - before) as f64 / spent;
                    let per_stop = total / self.state.stops as f64;
                    let count = cycles::count(self.settings, per_stop, self.state.stops);
                    cycles = Some(count);
                    hot = scale.hot(self.settings, per_stop / count);
                    first = hot;
                }
                let at = spent * cycles.unwrap_or(1.0);
                if at.floor() > cycle {
                    cycle = at.floor();
                    calls = 0;
                    self.recombine(budget, cancel);
                    self.end_cycle();
                    let last = cycle + 1.0 >= cycles.unwrap_or(1.0);
                    let kind = Kind::of::<R>(cycle as u64, last);
                    first = match kind {
                        Kind::Hot => hot,
                        Kind::Fresh => {
                            self.construct(cancel);
                            hot * self.settings.fresh_heat
                        }
                        Kind::Again => {
                            self.resume(budget, cancel);
                            hot * self.settings.again_heat
                        }
                    }
                    .max(cold);
                }
                let part = at - cycle;
                self.collecting = part > COLLECT_FROM;
                if CALLS.get(calls).is_some_and(|&call| part >= call) {
                    calls += 1;
                    self.recombine(budget, cancel);
                }
                heat = first * (cold / first).powf(part);
            }
            self.iterations += 1;
            self.iterate(heat);
        }
        self.end_cycle();
    }

    /// Goes on from the best plan of all, improved by the routes of every cycle.
    fn resume(&mut self, budget: &impl Budget, cancel: &Cancel) {
        let plan = self.unfold(&self.elite);
        self.start_from(&plan);
        self.recombine(budget, cancel);
    }

    /// Sets the cycle's best plan against those before, and forgets it.
    fn end_cycle(&mut self) {
        if self.best.cost < self.elite.cost {
            self.elite.clone_from(&self.best);
        }
        self.best.cost = i64::MAX;
    }

    fn iterate(&mut self, heat: f64) {
        if R::PLAIN && self.rng.f64() < self.settings.tail_chance {
            let slack = heat.ceil() as i32;
            if tails::exchange(&mut self.state, self.lists, &mut self.rng, slack) {
                debug_assert_eq!(self.state.audit(), Ok(()));
                if self.state.cost < self.best.cost {
                    self.keep_best();
                }
            }
            return;
        }
        self.state.begin();
        self.removed.clear();
        ruin::strings(
            &mut self.state,
            self.lists,
            self.settings,
            &mut self.rng,
            &mut self.removed,
        );
        self.orders.sort(&mut self.removed, &mut self.rng);
        // Known beforehand, so that a losing iteration is given up early.
        let bound = self.state.cost_before() + heat.ceil() as i64;
        if recreate(
            &mut self.state,
            self.lists,
            self.settings,
            &mut self.rng,
            &self.removed,
            bound,
        ) {
            debug_assert_eq!(self.state.audit(), Ok(()));
            if R::PLAIN
                && self.collecting
                && (self.state.cost as f64) < self.best.cost as f64 * 1.005
            {
                for route in self
                    .state
                    .changed()
                    .filter(|&route| self.state.routes[route].size > 0)
                {
                    let key = self.state.routes[route].hash;
                    self.pool
                        .add(key, self.state.legs(route), self.state.stops_of(route));
                }
            }
            if self.state.cost < self.best.cost {
                self.keep_best();
            }
        } else {
            self.state.undo();
        }
    }

    /// Improves the cycle's best plan by routes from the pool and goes on from there.
    fn recombine(&mut self, budget: &impl Budget, cancel: &Cancel) {
        if !R::PLAIN || self.best.cost == i64::MAX || budget.spent(self.iterations) >= 1.0 {
            return;
        }
        let best = self.unfold(&self.best);
        let rules = self.state.rules;
        let mut plan: Vec<Kept> = best
            .routes
            .into_iter()
            .map(|(_, stops)| Kept {
                cost: legs(rules, &stops),
                stops,
            })
            .collect();
        let spare = self.state.routes.len() - plan.len();
        let iterations = self.iterations;
        let until = (budget.spent(iterations) + RECOMBINE_SHARE).min(1.0);
        let saved = recombine(
            &mut plan,
            self.state.stops,
            spare,
            self.lists,
            &self.pool,
            || cancel.is_raised() || budget.spent(iterations) >= until,
        );
        if saved > 0 {
            let routes = plan
                .iter()
                .enumerate()
                .map(|(at, route)| (at, route.stops.as_slice()));
            self.state.load(routes, &best.skipped);
            debug_assert_eq!(self.state.audit(), Ok(()));
            debug_assert_eq!(self.state.cost, best.cost - saved);
            self.keep_best();
        }
    }

    /// Improves the best plan of all by the routes of this search and of `others`.
    pub(super) fn finish(&mut self, others: Vec<Self>, budget: &impl Budget, cancel: &Cancel) {
        for other in others {
            self.iterations += other.iterations;
            if other.elite.cost < self.elite.cost {
                self.elite.clone_from(&other.elite);
            }
            self.pool.absorb(other.pool);
        }
        self.best.clone_from(&self.elite);
        self.recombine(budget, cancel);
        self.end_cycle();
    }

    fn keep_best(&mut self) {
        self.best.cost = self.state.cost;
        self.best.next.clear();
        self.best
            .next
            .extend(self.state.nodes.iter().map(|node| node.next));
        self.best.bank.clone_from(&self.state.bank);
        debug_assert_eq!(
            self.unfold(&self.best).evaluate(self.state.rules),
            Ok(self.best.cost)
        );
    }

    /// The best plan found.
    pub(super) fn plan(&self) -> RoutePlan {
        self.unfold(if self.best.cost < self.elite.cost {
            &self.best
        } else {
            &self.elite
        })
    }

    fn unfold(&self, order: &Order) -> RoutePlan {
        let mut plan = RoutePlan {
            routes: Vec::new(),
            skipped: order.bank.clone(),
            cost: order.cost,
        };
        for route in 0..self.state.routes.len() {
            let mut stops = Vec::new();
            let mut at = order.next[self.state.start(route)];
            while (at as usize) < self.state.stops {
                stops.push(at);
                at = order.next[at as usize];
            }
            if !stops.is_empty() {
                plan.routes.push((route, stops));
            }
        }
        plan
    }
}

/// Cost of the legs of a route of like routes.
fn legs<R: Rules>(rules: &R, stops: &[u32]) -> i32 {
    let places = stops
        .iter()
        .map(|&stop| stop as usize)
        .chain([rules.end_place(0)]);
    let mut from = rules.start_place(0);
    let mut cost = 0;
    for to in places {
        cost += rules.cost(from, to);
        from = to;
    }
    cost
}
