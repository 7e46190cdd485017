//! Daily noise dose.
//!
//! ```text
//! T = 480 min / 2^((L - criterion) / exchange)      D = 100 x sum(C / T) per cent
//! TWA = slope x log10(D / 100) + criterion          slope: 16.61 and 10 as printed
//! ```
//!
//! Two criteria, never mixed: the regulation of 29 CFR 1910.95 (90 dBA, 5 dB, Table G-16 and
//! Appendix A) and the recommendation of NIOSH publication 98-126 (85 dBA, 3 dB). For one day they
//! can differ fourfold. Limits are a company's settings.

use super::Standing;
use crate::fault::{Fault, within};
use crate::units::{Decibels, Minutes};

/// A way to reckon dose.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Criterion {
    /// Level that fills the dose in eight hours.
    pub level: Decibels,
    /// Decibels that halve the permitted time.
    pub exchange: Decibels,
    /// Decibels in the average for a tenfold dose, as the text prints it (near
    /// `exchange / log10(2)`).
    pub slope: Decibels,
    /// Levels below this do not count (80 dBA in both texts, from memory).
    pub counts_from: Decibels,
    /// Dose in per cent from which to act.
    pub action_percent: f64,
    /// Dose in per cent not to exceed.
    pub limit_percent: f64,
}

/// 29 CFR 1910.95: 90 dBA, 5 dB; action at half the dose, which is 85 dBA for eight hours.
pub const REGULATION: Criterion = Criterion {
    level: Decibels::new(90.0),
    exchange: Decibels::new(5.0),
    slope: Decibels::new(16.61),
    counts_from: Decibels::new(80.0),
    action_percent: 50.0,
    limit_percent: 100.0,
};

/// NIOSH recommended exposure limit: 85 dBA, 3 dB. Acting at half the dose is our setting; the
/// recommendation has no action level.
pub const RECOMMENDATION: Criterion = Criterion {
    level: Decibels::new(85.0),
    exchange: Decibels::new(3.0),
    slope: Decibels::new(10.0),
    counts_from: Decibels::new(80.0),
    action_percent: 50.0,
    limit_percent: 100.0,
};

/// A dose for a day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dose {
    /// Dose in per cent; 100 fills the day.
    pub percent: f64,
    /// The steady level that gives the same dose in eight hours; `None` when there is no dose.
    pub average: Option<Decibels>,
    /// Where it stands.
    pub standing: Standing,
}

impl Criterion {
    /// The time permitted at a level.
    #[must_use]
    pub fn permitted(&self, level: Decibels) -> Minutes {
        Minutes::new(480.0 / ((level - self.level) / self.exchange).exp2())
    }

    /// The dose of a day of parts, each at one level.
    ///
    /// # Errors
    /// A level outside 0 to 140 dBA (no plan may hold more), a time outside 0 to 1440 min, or
    /// parts longer than a day together.
    pub fn dose(&self, parts: &[(Decibels, Minutes)]) -> Result<Dose, Fault> {
        let mut percent = 0.0;
        for (level, time) in parts {
            within("noise.level_dba", level.value(), 0.0, 140.0)?;
            within("noise.time_minutes", time.value(), 0.0, 1440.0)?;
            if *level >= self.counts_from {
                percent += 100.0 * (*time / self.permitted(*level));
            }
        }
        let day: Minutes = parts.iter().map(|(_, time)| *time).sum();
        within("noise.day_minutes", day.value(), 0.0, 1440.0)?;
        Ok(Dose {
            percent,
            average: (percent > 0.0).then(|| self.average(percent)),
            standing: Standing::of(percent, self.action_percent, self.limit_percent),
        })
    }

    /// The steady level that gives a dose (per cent, above 0) in eight hours.
    #[must_use]
    pub fn average(&self, percent: f64) -> Decibels {
        self.level + self.slope * (percent / 100.0).log10()
    }
}
