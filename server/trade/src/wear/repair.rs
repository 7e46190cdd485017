//! Accumulated repair and remaining value by the farm-machinery formulas.
//!
//! ```text
//! accumulated repair and maintenance / list price = RF1 x (h / 1000)^RF2
//! remaining value / list price = (C1 - C2 x sqrt(n) - C3 x sqrt(h))^2
//! ```
//!
//! `h` effective hours in all for repair and hours a year for value, `n` years. Form: ASAE EP496;
//! parameters: ASAE D497, both from memory. What corroborates them stands beside each constant.
//! They are shares of the list price, so money enters only when a share is taken of a price.

use crate::fault::{Fault, within};
use crate::units::Hours;

/// Repair factors.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Repair {
    /// RF1: the share of the list price at 1000 h.
    pub rf1: f64,
    /// RF2: how it grows.
    pub rf2: f64,
}

/// Tractor, two-wheel drive. Agrees with Iowa State University Extension A3-29 Table 3.
pub const TWO_WHEEL_TRACTOR: Repair = Repair {
    rf1: 0.007,
    rf2: 2.0,
};
/// Tractor, four-wheel drive. Agrees with Iowa State University Extension A3-29 Table 3.
pub const FOUR_WHEEL_TRACTOR: Repair = Repair {
    rf1: 0.003,
    rf2: 2.0,
};
/// Rotary mower, life 2000 h. From memory, not corroborated.
pub const ROTARY_MOWER: Repair = Repair {
    rf1: 0.44,
    rf2: 2.0,
};
/// Cutterbar mower, life 2000 h. From memory, not corroborated.
pub const CUTTERBAR_MOWER: Repair = Repair {
    rf1: 0.46,
    rf2: 1.7,
};

impl Repair {
    /// Repair and maintenance up to some effective hours, as a share of the list price.
    ///
    /// # Errors
    /// Hours outside 0 to 100 000, or factors outside 0 to 10.
    pub fn accumulated_share(&self, hours: Hours) -> Result<f64, Fault> {
        let rf1 = within("repair.rf1", self.rf1, 0.0, 10.0)?;
        let rf2 = within("repair.rf2", self.rf2, 0.0, 10.0)?;
        let h = within("repair.effective_hours", hours.value(), 0.0, 1e5)?;
        Ok(rf1 * (h / 1000.0).powf(rf2))
    }

    /// Repair and maintenance between two readings, as a share of the list price.
    ///
    /// # Errors
    /// As [`Repair::accumulated_share`].
    pub fn between_share(&self, from: Hours, to: Hours) -> Result<f64, Fault> {
        Ok(self.accumulated_share(to.max(from))? - self.accumulated_share(from)?)
    }
}

/// Coefficients of remaining value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Remaining {
    /// C1: the root of the value when new.
    pub c1: f64,
    /// C2: what age takes.
    pub c2: f64,
    /// C3: what hours a year take.
    pub c3: f64,
}

/// Tractor of 30 to 79 hp. Agrees with Iowa State University Extension PM 710 Table 1a.
pub const TRACTOR_30_TO_79_HP: Remaining = Remaining {
    c1: 0.9809,
    c2: 0.0934,
    c3: 0.0058,
};
/// Tractor of 80 to 149 hp. Agrees with Iowa State University Extension PM 710 Table 1a.
pub const TRACTOR_80_TO_149_HP: Remaining = Remaining {
    c1: 0.9421,
    c2: 0.0999,
    c3: 0.0008,
};
/// Tractor of 150 hp and more. Agrees with the 23 % of the worked example in A3-29.
pub const TRACTOR_FROM_150_HP: Remaining = Remaining {
    c1: 0.9756,
    c2: 0.1187,
    c3: 0.0019,
};
/// Mower. From memory, not corroborated.
pub const SMALL_MOWER: Remaining = Remaining {
    c1: 0.7557,
    c2: 0.0672,
    c3: 0.0,
};

impl Remaining {
    /// Value after some years at some hours a year, as a share of the list price, never below 0.
    ///
    /// # Errors
    /// Years outside 0 to 100, hours a year outside 0 to 8784, or coefficients outside 0 to 2.
    pub fn share(&self, years: f64, hours_a_year: Hours) -> Result<f64, Fault> {
        let n = within("value.years", years, 0.0, 100.0)?;
        let h = within("value.hours_a_year", hours_a_year.value(), 0.0, 8784.0)?;
        let c1 = within("value.c1", self.c1, 0.0, 2.0)?;
        let c2 = within("value.c2", self.c2, 0.0, 2.0)?;
        let c3 = within("value.c3", self.c3, 0.0, 2.0)?;
        // Past the year in which the root reaches nothing the square would rise again.
        Ok((c1 - c2 * n.sqrt() - c3 * h.sqrt()).max(0.0).powi(2))
    }
}
