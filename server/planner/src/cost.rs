//! Whole-number cost.
//!
//! Rates come per hour, per kilometre and in permille; a cost adds them over seconds and metres without rounding. One
//! minor currency unit (one cent) is [`Cost::PER_MINOR_UNIT`] cost units, the common multiple of 3,600 seconds and
//! 1,000 permille. Whole numbers keep "the difference a move makes" and "the difference of two totals" equal to the
//! last digit, which debug builds assert after every applied move.

use std::iter::Sum;
use std::ops::{Add, AddAssign, Neg, Sub, SubAssign};

/// A cost in 1/3,600,000 of a minor currency unit.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Cost(pub i64);

impl Cost {
    /// Nothing.
    pub const ZERO: Self = Self(0);
    /// More than any plan costs.
    pub const MAX: Self = Self(i64::MAX / 4);
    /// Cost units in one minor currency unit.
    pub const PER_MINOR_UNIT: i64 = 3_600_000;

    /// A sum of money in minor units, weighed by `permille`.
    pub const fn money(minor_units: i64, permille: i64) -> Self {
        Self(minor_units * permille * (Self::PER_MINOR_UNIT / 1_000))
    }

    /// `seconds` at a rate in minor units per hour, weighed by `permille`.
    pub const fn time(minor_units_per_hour: i64, seconds: i64, permille: i64) -> Self {
        Self(minor_units_per_hour * permille * seconds)
    }

    /// `metres` at a rate in minor units per kilometre.
    pub const fn distance(minor_units_per_km: i64, metres: i64) -> Self {
        Self(minor_units_per_km * metres * (Self::PER_MINOR_UNIT / 1_000))
    }

    /// In minor currency units, rounded to the nearest, halves away from zero.
    pub const fn minor_units(self) -> i64 {
        let half = Self::PER_MINOR_UNIT / 2;
        if self.0 >= 0 {
            (self.0 + half) / Self::PER_MINOR_UNIT
        } else {
            (self.0 - half) / Self::PER_MINOR_UNIT
        }
    }
}

impl Add for Cost {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0 + other.0)
    }
}

impl AddAssign for Cost {
    fn add_assign(&mut self, other: Self) {
        self.0 += other.0;
    }
}

impl Sub for Cost {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0 - other.0)
    }
}

impl SubAssign for Cost {
    fn sub_assign(&mut self, other: Self) {
        self.0 -= other.0;
    }
}

impl Neg for Cost {
    type Output = Self;
    fn neg(self) -> Self {
        Self(-self.0)
    }
}

impl Sum for Cost {
    fn sum<I: Iterator<Item = Self>>(costs: I) -> Self {
        costs.fold(Self::ZERO, Add::add)
    }
}

/// A plan's cost, term by term. The objective is their sum.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Breakdown {
    /// Jobs left out: each job's penalty.
    pub unplanned: Cost,
    /// Wages while driving.
    pub driving: Cost,
    /// Vehicle cost by distance.
    pub distance: Cost,
    /// Wages while working.
    pub work: Cost,
    /// Wages while waiting.
    pub idle: Cost,
    /// The extra paid after the end of the shift.
    pub overtime: Cost,
    /// Wear of the units while they run.
    pub wear: Cost,
    /// Handling of the units loaded.
    pub load_out: Cost,
    /// Jobs finished after they are due.
    pub late: Cost,
    /// Promises broken, with the lateness against them.
    pub promises: Cost,
    /// Noise or vibration points over a crew's limit.
    pub exposure: Cost,
    /// Hours over a crew's fair share.
    pub unfair: Cost,
    /// Difference from the plan that stood before.
    pub disturbance: Cost,
}

impl Breakdown {
    /// The objective.
    pub fn total(&self) -> Cost {
        self.unplanned
            + self.driving
            + self.distance
            + self.work
            + self.idle
            + self.overtime
            + self.wear
            + self.load_out
            + self.late
            + self.promises
            + self.exposure
            + self.unfair
            + self.disturbance
    }
}
