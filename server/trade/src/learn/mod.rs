//! What recorded work says about the published rate.
//!
//! **Model.** The logarithm of actual over rate is a sum of small effects and noise:
//!
//! ```text
//! ln(actual / rate) = practice + site + site and task + crew + condition + noise
//! each effect ~ Normal(0, tau^2) by its own tau          noise: sigma, heavy in the tails
//! ```
//!
//! *Practice* is a task kind with a method, across the whole company. The `tau` are the stated
//! [`Prior`]: how far, before any record, such an effect is expected to lie from nothing. An effect
//! from `n` records is its average share of the residuals pulled toward zero by
//! `n / (n + sigma^2 / tau^2)`, so a first visit moves the estimate a little and a fortieth has
//! nearly its full say.
//!
//! **Robust.** A record further than `1.345 sigma` from what the rest say weighs less, in
//! proportion (Huber's loss, 1964, from memory). One absurd record, a clock left running over
//! lunch or a nought too many, moves a factor by a bounded amount however absurd it is. A learned
//! factor is held within [`FACTOR_LOW`] and [`FACTOR_HIGH`] besides.
//!
//! **Deterministic.** The loss is convex, so there is one answer; it is found by sweeping the
//! levels in a fixed order until nothing moves, at most [`MOST_SWEEPS`] times. No chance is
//! involved.
//!
//! **Never much worse than the rate.** Even where the rate is exactly right, so that there is only
//! noise to learn, the expected error is at most [`STATED_MARGIN`] above that of the rate alone;
//! where the rate is wrong the error falls with the visits. Simulated histories show both.

mod fit;
mod record;

pub use fit::{Factors, MOST_SWEEPS, Misrecorded, Prior, Subject};
pub use record::{Class, CrewId, Growth, Record, SiteId};

use crate::units::Minutes;
use core::fmt::Write as _;

/// The least a learned factor may be.
pub const FACTOR_LOW: f64 = 0.4;
/// The most a learned factor may be.
pub const FACTOR_HIGH: f64 = 2.5;
/// How much worse than the published rate a learned estimate may be expected to be, as a share of
/// the root-mean-square error of the logarithm.
pub const STATED_MARGIN: f64 = 0.10;

/// A level that effects are learned on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Level {
    /// A task kind with a method, on every site.
    Practice,
    /// A site, for every task.
    Site,
    /// One kind of task on one site.
    SiteTask,
    /// A crew, for every task.
    Crew,
    /// A class of condition.
    Condition,
}

impl Level {
    /// Every level, in the order they are swept and told.
    pub const ALL: [Self; 5] = [
        Self::Practice,
        Self::Site,
        Self::SiteTask,
        Self::Crew,
        Self::Condition,
    ];

    /// The level in words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Practice => "this kind of work",
            Self::Site => "this site",
            Self::SiteTask => "this task here",
            Self::Crew => "this crew",
            Self::Condition => "this condition",
        }
    }
}

/// What one level adds to a learned factor.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part {
    /// The level.
    pub level: Level,
    /// What it multiplies the rate by.
    pub factor: f64,
    /// Records it rests on.
    pub records: u32,
}

/// A factor learned for one task on one site by one crew, with its parts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Learned {
    factor: f64,
    sigma: Option<f64>,
    parts: [Option<Part>; 5],
    held_back: f64,
}

impl Learned {
    /// Nothing learned: the published rate stands.
    pub const NOTHING: Self = Self {
        factor: 1.0,
        sigma: None,
        parts: [None; 5],
        held_back: 1.0,
    };

    /// What the published rate is multiplied by, within [`FACTOR_LOW`] and [`FACTOR_HIGH`].
    pub const fn factor(&self) -> f64 {
        self.factor
    }

    /// The spread learned (standard deviation of the logarithm), if there is evidence enough.
    pub const fn sigma(&self) -> Option<f64> {
        self.sigma
    }

    /// The parts that have records, in the order of [`Level::ALL`].
    pub fn parts(&self) -> impl Iterator<Item = Part> {
        self.parts.into_iter().flatten()
    }

    /// The crew's own part of the factor, the same for all its work; 1 where no crew is known.
    pub fn pace(&self) -> f64 {
        let of_crew = self.parts().find(|part| part.level == Level::Crew);
        of_crew.map_or(1.0, |part| part.factor)
    }

    /// The factor over the product of its parts: 1, unless the bounds held it back.
    pub const fn held_back(&self) -> f64 {
        self.held_back
    }

    /// The factor in words: "rate 41 min; this site x1.18 from 6 visits; this crew x0.94 from 40".
    pub fn words(&self, rate: Minutes) -> String {
        let mut words = format!("rate {rate:.0}");
        let mut counted = false;
        for part in self.parts() {
            let visits = match (counted, part.records) {
                (true, _) => "",
                (false, 1) => " visit",
                (false, _) => " visits",
            };
            counted = true;
            // Writing to a string cannot fail.
            let _ = write!(
                words,
                "; {} x{:.2} from {}{visits}",
                part.level.words(),
                part.factor,
                part.records
            );
        }
        words
    }
}
