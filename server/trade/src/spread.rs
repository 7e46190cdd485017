//! The log-normal spread of a duration, and how spreads add.
//!
//! ```text
//! ln(minutes) ~ Normal(ln(median), sigma)
//! mean = median x exp(sigma^2 / 2)          variance = mean^2 x (exp(sigma^2) - 1)
//! ```
//!
//! A sum of log-normals is not log-normal, but close enough to plan by: the sum is given the
//! log-normal with the same mean and variance (moment matching). The tasks of one job share their
//! weather and their crew, so they run long together: each pair is correlated by [`Rates::spread_correlation`](crate::rates::Rates::spread_correlation).

use crate::units::Minutes;
use statrs::distribution::{ContinuousCDF, LogNormal, Normal};

/// Spread of a duration: the standard deviation of its logarithm.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Default)]
pub struct Spread(f64);

impl Spread {
    /// From the standard deviation of the logarithm; 0 is a certainty.
    pub const fn new(sigma: f64) -> Self {
        Self(sigma)
    }

    /// The standard deviation of the logarithm.
    pub const fn sigma(self) -> f64 {
        self.0
    }

    /// The mean of a duration with a median and this spread.
    #[must_use]
    pub fn mean(self, median: Minutes) -> Minutes {
        median * (self.0 * self.0 / 2.0).exp()
    }

    /// The standard deviation of a duration with a median and this spread.
    #[must_use]
    pub fn deviation(self, median: Minutes) -> Minutes {
        self.mean(median) * (self.0 * self.0).exp_m1().sqrt()
    }

    /// The minutes that a share `p` of such durations keep within; `p` is held to 0.001 to 0.999.
    #[must_use]
    pub fn quantile(self, median: Minutes, p: f64) -> Minutes {
        self.law(median)
            .map_or(median, |law| Minutes::new(law.inverse_cdf(held(p))))
    }

    /// The chance that such a duration keeps within a limit.
    #[must_use]
    pub fn chance_within(self, median: Minutes, limit: Minutes) -> f64 {
        match self.law(median) {
            Some(law) => law.cdf(limit.value()),
            None if median <= limit => 1.0,
            None => 0.0,
        }
    }

    /// `None` for a certainty or a median that has no logarithm.
    fn law(self, median: Minutes) -> Option<LogNormal> {
        LogNormal::new(median.value().ln(), self.0).ok()
    }
}

/// How many standard deviations above its mean a normal variable has a share `p` of its chance below; `p` is held to 0.001
/// to 0.999.
#[must_use]
pub fn deviations(p: f64) -> f64 {
    Normal::standard().inverse_cdf(held(p))
}

/// A share that a distribution without ends has a point for; a half where it is none.
const fn held(p: f64) -> f64 {
    if p.is_nan() {
        0.5
    } else {
        p.clamp(0.001, 0.999)
    }
}

/// Adds durations of given medians and spreads, each pair correlated by `correlation` (0 to 1).
///
/// Returns the median and spread of the log-normal with the same mean and variance. The sum of
/// nothing is nothing.
pub fn sum(parts: impl Iterator<Item = (Minutes, Spread)>, correlation: f64) -> (Minutes, Spread) {
    let mut mean = Minutes::ZERO;
    let mut own = 0.0;
    let mut deviations = 0.0;
    for (median, spread) in parts {
        let deviation = spread.deviation(median).value();
        mean += spread.mean(median);
        own += deviation * deviation;
        deviations += deviation;
    }
    if mean <= Minutes::ZERO {
        return (Minutes::ZERO, Spread::default());
    }
    // Sum over pairs i != j of rho sd_i sd_j = rho ((sum sd)^2 - sum sd^2).
    let variance = own + correlation * (deviations * deviations - own);
    let squared = (variance / (mean.value() * mean.value())).ln_1p();
    (mean * (-squared / 2.0).exp(), Spread::new(squared.sqrt()))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Outside check: the usual upper points of the standard normal distribution, as in any printed table of it (NIST/SEMATECH
    /// e-Handbook of Statistical Methods, section 1.3.6.7.1; from memory).
    #[test]
    fn deviations_are_those_of_the_table() {
        for (p, z) in [(0.5, 0.0), (0.8, 0.8416), (0.9, 1.2816), (0.95, 1.6449)] {
            assert!((deviations(p) - z).abs() < 5e-5, "{p}");
        }
        assert!((deviations(f64::NAN)).abs() < 1e-9);
    }

    #[test]
    fn one_part_sums_to_itself() {
        let (median, spread) = sum([(Minutes::new(20.0), Spread::new(0.3))].into_iter(), 0.4);
        assert!((median.value() - 20.0).abs() < 1e-9);
        assert!((spread.sigma() - 0.3).abs() < 1e-12);
    }

    #[test]
    fn parts_that_move_together_spread_wider_than_parts_that_do_not() {
        let parts = [(Minutes::new(10.0), Spread::new(0.3)); 4];
        let (_, apart) = sum(parts.into_iter(), 0.0);
        let (_, together) = sum(parts.into_iter(), 1.0);
        assert!(apart < together);
        assert!((together.sigma() - 0.3).abs() < 1e-9);
    }

    #[test]
    fn a_certainty_is_kept_or_not() {
        let certain = Spread::new(0.0);
        let ten = Minutes::new(10.0);
        assert!((certain.chance_within(ten, Minutes::new(10.0)) - 1.0).abs() < 1e-12);
        assert!(certain.chance_within(ten, Minutes::new(9.0)).abs() < 1e-12);
        assert_eq!(certain.quantile(ten, 0.9), ten);
    }
}
