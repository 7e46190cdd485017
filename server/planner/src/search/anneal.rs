//! The search loop over a whole plan.

use rand_xoshiro::Xoshiro256PlusPlus;

use super::insertion::Care;
use super::route::{Leg, Route};
use super::ruin::Extent;
use super::scope::Scope;
use super::shares::Share;
use super::state::State;
use super::walk::Walk;
use crate::cost::Cost;
use crate::index::JobIx;
use crate::routing::{Budget, Cancel};
use crate::solve::Progress;

/// Settings of the loop, found by measurement on generated branch days.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Schedule {
    /// What an iteration may make the plan dearer by at first, in thousandths of the mean cost of a planned job.
    pub(crate) hot_permille: f64,
    /// The same in the end.
    pub(crate) cold_permille: f64,
    pub(crate) extent: Extent,
    pub(crate) care: Care,
    /// Jobs of the bank that take part in one iteration at most.
    pub(crate) bank_max: usize,
    /// Jobs of the bank near by of which the one that is worth most for its time takes part.
    pub(crate) bank_draws: usize,
    /// Iterations in a hundred in which jobs are put back by what they are worth for their time.
    pub(crate) worth_first_percent: u32,
    /// Jobs of the bank that come first when a crew gives a unit up.
    pub(crate) claims_max: usize,
    /// Iterations in a thousand in which two crews trade their days.
    pub(crate) trades_permille: u32,
    /// Iterations in a thousand in which a crew gets a tool that it lacks.
    pub(crate) equips_permille: u32,
    /// Of the other iterations, so many in a thousand take a class of units away from a crew.
    pub(crate) classes_permille: u32,
    /// Of the other iterations, so many in a thousand take a crew's whole day apart.
    pub(crate) days_permille: u32,
    /// One iteration in so many looks closely, up to so many while nothing comes of it.
    pub(crate) looks_every: (u32, u32),
    /// Whether days of crews that came up are grouped anew now and then.
    pub(crate) regroups: bool,
}

impl Schedule {
    pub(crate) const STANDARD: Self = Self {
        hot_permille: 3_000.0,
        cold_permille: 50.0,
        extent: Extent {
            mean: 10,
            string_max: 8,
        },
        care: Care {
            blink: 80,
            better: 20,
            call: 40,
            deep: false,
        },
        bank_max: 1,
        bank_draws: 1,
        worth_first_percent: 0,
        claims_max: 8,
        trades_permille: 120,
        equips_permille: 0,
        classes_permille: 100,
        days_permille: 50,
        looks_every: (200, 1_600),
        regroups: false,
    };

    /// For a plan of many crews, which has many jobs left out to choose from.
    pub(crate) const MANY_CREWS: Self = Self {
        bank_max: 4,
        bank_draws: 2,
        worth_first_percent: 60,
        ..Self::STANDARD
    };

    /// For a plan that is good already and should stay much as it is.
    pub(crate) const GENTLE: Self = Self {
        hot_permille: 100.0,
        cold_permille: 5.0,
        extent: Extent {
            mean: 8,
            string_max: 6,
        },
        bank_max: 2,
        claims_max: 4,
        equips_permille: 200,
        classes_permille: 50,
        looks_every: (40, 200),
        regroups: true,
        ..Self::STANDARD
    };

    /// The same, going farther: what it costs to give up on the way, and how much is taken up at once.
    pub(crate) const WIDE: Self = Self {
        hot_permille: 300.0,
        extent: Extent {
            mean: 12,
            ..Self::GENTLE.extent
        },
        ..Self::GENTLE
    };
}

/// The best plan seen.
pub(super) struct Best {
    pub(super) routes: Vec<Route>,
    pub(super) bank: Vec<JobIx>,
    pub(super) shares: Vec<Share>,
    pub(super) cost: Cost,
}

impl Best {
    pub(super) fn new(state: &State) -> Self {
        Self {
            routes: state.routes.clone(),
            bank: state.bank.clone(),
            shares: state.shares.clone(),
            cost: state.cost,
        }
    }

    pub(super) fn take(&mut self, state: &State) {
        for (kept, route) in self.routes.iter_mut().zip(&state.routes) {
            if kept.version != route.version {
                kept.clone_from(route);
            }
        }
        self.bank.clone_from(&state.bank);
        self.shares.clone_from(&state.shares);
        self.cost = state.cost;
    }

    pub(super) fn progress(&self, iterations: u64, spent: f64) -> Progress {
        Progress {
            iterations,
            spent,
            best_cost: self.cost,
            unplanned: self.bank.len(),
        }
    }
}

/// Improves the plan until the budget is spent or the search is cancelled. Returns the iterations made. Most of the
/// removals start at a job in `focus`, if there is one.
pub(crate) fn anneal(
    state: &mut State,
    budget: &dyn Budget,
    cancel: &Cancel,
    schedule: &Schedule,
    focus: &[JobIx],
    rng: &mut Xoshiro256PlusPlus,
    report: &mut dyn FnMut(&Progress),
) -> u64 {
    let mut best = Best::new(state);
    let mut walk = Walk::new(state, schedule);
    let scope = Scope::whole(state);
    let mut iterations = 0;
    let mut reported = 0;
    let mut regroup_at = REGROUP_FROM;
    while !cancel.is_raised() {
        let spent = budget.spent(iterations);
        if spent >= 1.0 || scope.jobs.is_empty() {
            break;
        }
        iterations += 1;
        let kept = walk.iterate(state, &scope, focus, spent, rng);
        let better = kept && state.cost < best.cost && !(walk.is_small() && passes_time(state));
        if better {
            best.take(state);
        }
        if spent >= regroup_at {
            regroup_at += REGROUP_EVERY;
            if walk.regroup(state, &best, cancel) {
                best.take(state);
            }
        }
        let wait = if better {
            REPORT_EVERY
        } else {
            REPORT_EVERY * 20
        };
        if iterations >= reported + wait {
            reported = iterations;
            report(&best.progress(iterations, spent));
        }
    }
    if walk.regroup(state, &best, cancel) {
        best.take(state);
    }
    state.replace(best.routes, best.bank, best.shares);
    debug_assert!(state.cost == best.cost);
    state.assert_consistent();
    iterations
}

/// Whether a crew makes a call only to pass the time, so that a break comes to lie better. It is a step on the way to
/// other plans, and goes in the end. Of many crews somebody may always do so, and the rest is worth keeping.
fn passes_time(state: &State) -> bool {
    let idle = |legs: &[Leg]| legs[0].units == legs[1].units;
    let mut routes = state.routes.iter();
    routes.any(|route| route.legs.windows(2).any(idle))
}

const REPORT_EVERY: u64 = 100;
/// Days are grouped anew when so much of the budget is spent, and after every such part of it.
const REGROUP_FROM: f64 = 0.5;
const REGROUP_EVERY: f64 = 0.25;
