//! The search loop: ruin, recreate, accept or undo.

use super::budget::{Budget, Cancel};
use super::lists::Lists;
use super::plan::RoutePlan;
use super::recreate::{Orders, recreate};
use super::ruin;
use super::rules::Rules;
use super::settings::Settings;
use super::state::{NONE, State};
use super::tails;

/// Iterations between two looks at the budget and the cancel flag: well under a millisecond.
const POLL: u64 = 32;

/// One search on one thread.
pub(super) struct Search<'r, R: Rules> {
    state: State<'r, R>,
    lists: &'r Lists,
    settings: &'r Settings,
    orders: Orders,
    rng: fastrand::Rng,
    removed: Vec<u32>,
    /// The order of the best plan found: `next` of every node, and the bank.
    best_next: Vec<u32>,
    best_bank: Vec<u32>,
    best_cost: i64,
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
            best_next: Vec::new(),
            best_bank: Vec::new(),
            best_cost: i64::MAX,
            iterations: 0,
        }
    }

    /// Builds a first plan by cheapest insertion in a random order.
    pub(super) fn construct(&mut self) {
        self.state.begin();
        self.removed.clear();
        while !self.state.bank.is_empty() {
            let stop = self.state.unbank(self.state.bank.len() - 1);
            self.removed.push(stop as u32);
        }
        self.orders.sort(&mut self.removed, &mut self.rng);
        recreate(
            &mut self.state,
            self.lists,
            self.settings,
            &mut self.rng,
            &self.removed,
            i64::MAX,
        );
        self.keep_best();
    }

    /// Anneals until the budget is spent.
    pub(super) fn run(&mut self, budget: &impl Budget, cancel: &Cancel) {
        let legs = (self.state.stops + self.state.used).max(1);
        let leg = self.best_cost as f64 / legs as f64;
        let (hot, cold) = (
            leg * self.settings.heat_start,
            (leg * self.settings.heat_end).max(0.01),
        );
        let mut heat = hot;
        loop {
            if self.iterations.is_multiple_of(POLL) {
                let spent = budget.spent(self.iterations);
                if spent >= 1.0 || cancel.is_raised() {
                    break;
                }
                heat = hot * (cold / hot).powf(spent.max(0.0));
            }
            self.iterations += 1;
            self.iterate(heat);
        }
    }

    fn iterate(&mut self, heat: f64) {
        if R::UNIFORM && self.rng.f64() < self.settings.tail_chance {
            let slack = -heat * (1.0 - self.rng.f64()).ln();
            if tails::exchange(
                &mut self.state,
                self.lists,
                &mut self.rng,
                slack.ceil() as i32,
            ) {
                debug_assert_eq!(self.state.audit(), Ok(()));
                if self.state.cost < self.best_cost {
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
        // Accept when cost < cost before - heat ln(u): drawn first, so that a losing iteration is given up early.
        let slack = -heat * (1.0 - self.rng.f64()).ln();
        let bound = self.state.cost_before() + slack.ceil() as i64;
        if recreate(
            &mut self.state,
            self.lists,
            self.settings,
            &mut self.rng,
            &self.removed,
            bound,
        ) {
            debug_assert_eq!(self.state.audit(), Ok(()));
            if self.state.cost < self.best_cost {
                self.keep_best();
            }
        } else {
            self.state.undo();
        }
    }

    fn keep_best(&mut self) {
        self.best_cost = self.state.cost;
        self.best_next.clear();
        self.best_next
            .extend(self.state.nodes.iter().map(|node| node.next));
        self.best_bank.clone_from(&self.state.bank);
        debug_assert_eq!(self.plan().evaluate(self.state.rules), Ok(self.best_cost));
    }

    /// The best plan found.
    pub(super) fn plan(&self) -> RoutePlan {
        let mut plan = RoutePlan {
            routes: Vec::new(),
            skipped: self.best_bank.clone(),
            cost: self.best_cost,
        };
        for route in 0..self.state.routes.len() {
            let mut stops = Vec::new();
            let mut at = self.best_next[self.state.start(route)];
            while at != NONE && (at as usize) < self.state.stops {
                stops.push(at);
                at = self.best_next[at as usize];
            }
            if !stops.is_empty() {
                plan.routes.push((route, stops));
            }
        }
        plan
    }
}
