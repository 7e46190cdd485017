//! What a machine costs by the effective hour, and when another is cheaper.
//!
//! ```text
//! capital recovery factor f = i (1 + i)^n / ((1 + i)^n - 1);  1 / n where i = 0
//! capital recovery = (price - remaining) x f + remaining x i
//! equivalent year of a life of n years = (price - PV(remaining) + sum PV(repair of year k)) x f
//! ```
//!
//! Iowa State University Extension, Ag Decision Maker A3-29, for capital recovery; the equivalent
//! year is the usual replacement analysis. Repair is counted at the end of its year.

use super::repair::{Remaining, Repair};
use crate::fault::{Fault, within};
use crate::price::Money;
use crate::units::Hours;

/// The longest life that is weighed.
const MOST_YEARS: u8 = 30;

/// The yearly payment that recovers one unit over some years at an interest rate.
///
/// # Errors
/// A rate outside 0 to 1 or years outside 1 to 100.
pub fn capital_recovery(rate: f64, years: f64) -> Result<f64, Fault> {
    let i = within("capital.rate", rate, 0.0, 1.0)?;
    let n = within("capital.years", years, 1.0, 100.0)?;
    if i < 1e-12 {
        return Ok(1.0 / n);
    }
    // i / (1 - (1 + i)^-n), the same with one power and no overflow.
    Ok(i / -(-n * i.ln_1p()).exp_m1())
}

/// Yearly depreciation in equal parts.
///
/// # Errors
/// Years outside 1 to 100, different currencies, or too much money.
pub fn straight_line(price: Money, remaining: Money, years: f64) -> Result<Money, Fault> {
    let n = within("depreciation.years", years, 1.0, 100.0)?;
    price.minus(remaining)?.times(1.0 / n, "depreciation")
}

/// Yearly capital recovery: `(price - remaining) x f + remaining x rate`.
///
/// # Errors
/// What [`capital_recovery`] finds, different currencies, or too much money.
pub fn yearly_recovery(
    price: Money,
    remaining: Money,
    rate: f64,
    years: f64,
) -> Result<Money, Fault> {
    let f = capital_recovery(rate, years)?;
    price
        .minus(remaining)?
        .times(f, "capital.recovery")?
        .plus(remaining.times(rate, "capital.interest")?)
}

/// A kind of machine as money sees it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Machine {
    /// What it costs to buy.
    pub price: Money,
    /// The list price that the published shares are of.
    pub list_price: Money,
    /// Effective hours it works in a year, 1 to 8784.
    pub hours_a_year: Hours,
    /// Interest rate a year, 0 to 1.
    pub rate: f64,
    /// Its repair factors.
    pub repair: Repair,
    /// Its coefficients of remaining value.
    pub remaining: Remaining,
    /// Fuel, oil, line and blades by the effective hour.
    pub running_per_hour: Money,
}

/// How long a machine is best kept and what it then costs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Keep {
    /// Years.
    pub years: u8,
    /// What it costs a year, without running.
    pub per_year: Money,
    /// What an effective hour costs, with running.
    pub per_hour: Money,
}

/// Whether to keep a machine another year.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// Another year of the old one costs no more than a year of its best successor.
    Keep {
        /// What another year costs.
        next_year: Money,
        /// What a year of the successor costs.
        successor: Money,
    },
    /// The successor is cheaper.
    Replace {
        /// What another year costs.
        next_year: Money,
        /// What a year of the successor costs.
        successor: Money,
    },
}

impl Machine {
    /// Value after some years.
    ///
    /// # Errors
    /// What [`Remaining::share`] and [`Money::times`] find.
    pub fn value_after(&self, years: f64) -> Result<Money, Fault> {
        let share = self.remaining.share(years, self.hours_a_year)?;
        self.list_price.times(share, "machine.value")
    }

    /// Repair and maintenance up to some effective hours.
    ///
    /// # Errors
    /// What [`Repair::accumulated_share`] and [`Money::times`] find.
    pub fn repaired_by(&self, hours: Hours) -> Result<Money, Fault> {
        self.list_price
            .times(self.repair.accumulated_share(hours)?, "machine.repair")
    }

    /// Yearly capital recovery over a life, with the remaining value the formulas give.
    ///
    /// # Errors
    /// What the formulas find.
    pub fn capital_recovery(&self, years: f64) -> Result<Money, Fault> {
        let remaining = self.value_after(years)?;
        yearly_recovery(self.price, remaining, self.rate, years)
    }

    /// What a year costs when the machine is kept for some years, without running.
    ///
    /// # Errors
    /// What the formulas find.
    pub fn equivalent_year(&self, years: u8) -> Result<Money, Fault> {
        self.check()?;
        let n = within(
            "machine.years",
            f64::from(years),
            1.0,
            f64::from(MOST_YEARS),
        )?;
        let mut repair_share = 0.0;
        for year in 1..=years {
            repair_share +=
                self.repair_share_of(f64::from(year))? / (1.0 + self.rate).powi(i32::from(year));
        }
        let f = capital_recovery(self.rate, n)?;
        let repairs = self.list_price.times(repair_share * f, "machine.repair")?;
        self.capital_recovery(n)?.plus(repairs)
    }

    /// The life that makes a year cheapest, up to 30 years.
    ///
    /// # Errors
    /// What the formulas find.
    pub fn best_life(&self) -> Result<Keep, Fault> {
        let mut best = (1, self.equivalent_year(1)?);
        for years in 2..=MOST_YEARS {
            let per_year = self.equivalent_year(years)?;
            if per_year.minor() < best.1.minor() {
                best = (years, per_year);
            }
        }
        let (years, per_year) = best;
        Ok(Keep {
            years,
            per_year,
            per_hour: self.per_hour(per_year)?,
        })
    }

    /// What an effective hour costs when the machine is kept for some years, with running: the
    /// reserve that a job is charged.
    ///
    /// # Errors
    /// What the formulas find.
    pub fn cost_per_hour(&self, years: u8) -> Result<Money, Fault> {
        self.per_hour(self.equivalent_year(years)?)
    }

    /// What one more year of a machine of some age costs: the value it loses, the interest on what
    /// it is worth now, and the repairs of that year.
    ///
    /// # Errors
    /// What the formulas find.
    pub fn next_year(&self, age: f64) -> Result<Money, Fault> {
        self.check()?;
        let now = self.value_after(age)?;
        let then = self.value_after(age + 1.0)?;
        let interest = now.times(self.rate, "machine.interest")?;
        let repair = self
            .list_price
            .times(self.repair_share_of(age + 1.0)?, "machine.repair")?;
        now.minus(then)?.plus(interest)?.plus(repair)
    }

    /// Whether to keep a machine of some age another year or buy its successor.
    ///
    /// Both must work the same hours for the comparison to mean anything; `successor` may be the
    /// same kind.
    ///
    /// # Errors
    /// What the formulas find, or different currencies.
    pub fn keep_or_replace(&self, age: f64, successor: &Self) -> Result<Verdict, Fault> {
        let next_year = self.next_year(age)?;
        let best = successor.best_life()?.per_year;
        next_year.same(best)?;
        Ok(if next_year.minor() <= best.minor() {
            Verdict::Keep {
                next_year,
                successor: best,
            }
        } else {
            Verdict::Replace {
                next_year,
                successor: best,
            }
        })
    }

    /// Repair in the year that ends at an age, as a share of the list price.
    fn repair_share_of(&self, age: f64) -> Result<f64, Fault> {
        self.repair.between_share(
            self.hours_a_year * (age - 1.0).max(0.0),
            self.hours_a_year * age,
        )
    }

    fn per_hour(&self, per_year: Money) -> Result<Money, Fault> {
        per_year
            .times(1.0 / self.hours_a_year.value(), "machine.per_hour")?
            .plus(self.running_per_hour)
    }

    fn check(&self) -> Result<(), Fault> {
        within(
            "machine.hours_a_year",
            self.hours_a_year.value(),
            1.0,
            8784.0,
        )?;
        within("machine.rate", self.rate, 0.0, 1.0).map(drop)
    }
}
