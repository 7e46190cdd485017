//! Cycles of annealing: how many, what each starts from and how hot.

use super::rules::Rules;
use super::settings::Settings;
use super::state::State;

/// Iterations for each stop from which on a search may start hotter.
const SHORT_RUN: f64 = 1_000.0;
/// How the first threshold grows with the iterations for each stop.
const HEAT_GROWTH: f64 = 0.2;
/// Most cycles of annealing.
const CYCLES_MOST: f64 = 24.0;
/// Fewest iterations for each stop in a cycle.
const CYCLE_LEAST: f64 = 1_000.0;

/// How many cycles a search of so many iterations for each stop is spent on.
///
/// Cooling must be the slower the more stops have to find their places together.
pub(super) fn count(settings: &Settings, per_stop: f64, stops: usize) -> f64 {
    let length = settings.cycle_length * (stops as f64).powi(2);
    let count = per_stop / length.max(CYCLE_LEAST);
    count.floor().clamp(1.0, CYCLES_MOST)
}

/// What thresholds are measured by: mean costs of a leg and of a route of the first plan.
#[derive(Debug, Clone, Copy)]
pub(super) struct Scale {
    leg: f64,
    route: f64,
}

impl Scale {
    pub(super) fn of<R: Rules>(state: &State<'_, R>) -> Self {
        let legs = (state.stops + state.used).max(1);
        Self {
            leg: state.cost as f64 / legs as f64,
            route: state.cost as f64 / state.used.max(1) as f64,
        }
    }

    /// First threshold of a cycle of so many iterations for each stop: what an iteration may make the plan dearer by.
    ///
    /// A short search that starts hot ends before it is back at a good plan. What it must still be able to do is open
    /// and close routes, so its threshold is a share of a route's cost.
    pub(super) fn hot(self, settings: &Settings, per_stop: f64) -> f64 {
        let growth = (per_stop / SHORT_RUN).max(1.0).powf(HEAT_GROWTH);
        (self.route * settings.heat_short * growth)
            .min(self.leg * settings.heat_start)
            .max(self.cold(settings))
    }

    pub(super) fn cold(self, settings: &Settings) -> f64 {
        (self.leg * settings.heat_end).max(0.01)
    }
}

/// What a cycle of annealing after the first starts from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// The present plan, made fluid again.
    Hot,
    /// A new first plan, at a low threshold: a search from a high one tends to end in the same wide valley, and
    /// the best plan may lie in a narrow one.
    Fresh,
    /// The best plan so far.
    Again,
}

impl Kind {
    pub(super) fn of<R: Rules>(cycle: u64, last: bool) -> Self {
        match cycle % 3 {
            _ if last => Self::Again,
            0 => Self::Hot,
            // A locked stop must stay where the plan to start from has it.
            1 if !R::LOCKS => Self::Fresh,
            _ => Self::Again,
        }
    }
}
