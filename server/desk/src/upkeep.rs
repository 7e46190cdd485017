//! What a unit costs: repair so far, what it is worth, its cost by the effective hour, and whether another year of it is
//! cheaper than its successor. By the published farm-machinery formulas with the coefficients of mowers, which are from
//! memory. It informs; bids, books and the machine itself decide.

use forenoon_store::entity::unit;
use forenoon_trade::fault::Fault;
use forenoon_trade::price::{Currency, Money};
use forenoon_trade::units::Hours;
use forenoon_trade::wear::{Keep, Machine, ROTARY_MOWER, SMALL_MOWER, Verdict};

/// Effective hours that a machine of the trade works in a year: half a season's days, some hours each. Common
/// practice, no source.
pub const HOURS_A_YEAR: f64 = 400.0;
/// Interest on what a machine is worth, a year. Common practice, no source.
const INTEREST_A_YEAR: f64 = 0.07;

/// The code that ISO 4217 keeps for sums without a currency.
const NO_CURRENCY: &str = "XXX";

/// Where the figures come from, in words.
pub const SOURCE: &str = "farm-machinery formulas as Iowa State University Extension prints them (A3-29, PM 710), with the \
    coefficients of mowers from memory; 7 % interest, common practice";

/// What a unit costs.
#[derive(Clone, Debug, PartialEq)]
pub struct Upkeep {
    /// Effective hours over its life.
    pub life_hours: f64,
    /// Effective hours in a year.
    pub hours_a_year: f64,
    /// Its age in years of so many hours.
    pub age_years: f64,
    /// Repair and maintenance up to now, as the formula expects it, minor units.
    pub repair_minor: i64,
    /// What it is worth now, minor units.
    pub value_minor: i64,
    /// What an effective hour costs in capital and repair over its best life, minor units: what a job is charged.
    pub per_effective_hour_minor: i64,
    /// The life that makes a year cheapest.
    pub best_years: u8,
    /// What another year of it costs, minor units.
    pub next_year_minor: i64,
    /// What a year of its successor costs, minor units.
    pub successor_year_minor: i64,
    /// Whether the successor is cheaper.
    pub replace: bool,
}

/// A unit as the formulas see it, at a price.
fn machine(price: Money, hours_a_year: f64, currency: Currency) -> Machine {
    Machine {
        price,
        list_price: price,
        hours_a_year: Hours::new(hours_a_year),
        rate: INTEREST_A_YEAR,
        repair: ROTARY_MOWER,
        remaining: SMALL_MOWER,
        // Fuel, line and blades are overhead.
        running_per_hour: Money::zero(currency),
    }
}

/// What an effective hour of a unit costs in capital and repair over its best life; none without a purchase price.
///
/// # Errors
/// What the formulas find.
pub(crate) fn per_effective_hour(
    unit: &unit::Model,
    currency: Currency,
) -> Result<Option<Money>, Fault> {
    let Some(price) = unit.purchase_price_minor.filter(|minor| *minor > 0) else {
        return Ok(None);
    };
    let machine = machine(Money::from_minor(price, currency), HOURS_A_YEAR, currency);
    machine.best_life().map(|keep| Some(keep.per_hour))
}

/// The same in minor units of whatever currency, for plans, which reckon with nothing else. A unit without a purchase
/// price, or with one that the formulas refuse, wears for nothing.
pub(crate) fn wear_minor_per_hour(unit: &unit::Model) -> i64 {
    Currency::new(NO_CURRENCY, 0)
        .and_then(|currency| per_effective_hour(unit, currency))
        .ok()
        .flatten()
        .map_or(0, Money::minor)
}

/// What a unit of a purchase price costs after so many effective hours; the successor is bought at its own price.
///
/// # Errors
/// What the formulas find: hours a year out of their bounds, or a life beyond a hundred years of them.
pub fn upkeep(
    price_minor: i64,
    successor_minor: Option<i64>,
    currency: Currency,
    life_hours: f64,
    hours_a_year: f64,
) -> Result<Upkeep, Fault> {
    let own = machine(
        Money::from_minor(price_minor, currency),
        hours_a_year,
        currency,
    );
    let successor = machine(
        Money::from_minor(successor_minor.unwrap_or(price_minor), currency),
        hours_a_year,
        currency,
    );
    let Keep {
        years, per_hour, ..
    } = own.best_life()?;
    let age = life_hours / hours_a_year;
    let verdict = own.keep_or_replace(age, &successor)?;
    let (Verdict::Keep {
        next_year,
        successor: successor_year,
    }
    | Verdict::Replace {
        next_year,
        successor: successor_year,
    }) = verdict;
    Ok(Upkeep {
        life_hours,
        hours_a_year,
        age_years: age,
        repair_minor: own.repaired_by(Hours::new(life_hours))?.minor(),
        value_minor: own.value_after(age)?.minor(),
        per_effective_hour_minor: per_hour.minor(),
        best_years: years,
        next_year_minor: next_year.minor(),
        successor_year_minor: successor_year.minor(),
        replace: matches!(verdict, Verdict::Replace { .. }),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rotary mower, price 10,000.00: repair by the formula is 0.44 (h / 1000)^2 of it, so 4,400 at 1,000 h; value after
    /// 2.5 years 10,000 (0.7557 - 0.0672 sqrt(2.5))^2, from the coefficients by hand 4,217.
    #[test]
    fn the_figures_are_those_of_the_formulas() {
        let dollars = Currency::new("USD", 2).unwrap();
        let told = upkeep(1_000_000, None, dollars, 1_000.0, 400.0).unwrap();
        assert_eq!(told.repair_minor, 440_000);
        assert!((told.age_years - 2.5).abs() < 1e-12);
        let root: f64 = 0.7557 - 0.0672 * 2.5_f64.sqrt();
        assert!((told.value_minor as f64 - 1_000_000.0 * root * root).abs() < 1.0);
        // The hour is the best year by its hours.
        let year = told.successor_year_minor as f64;
        assert!((told.per_effective_hour_minor as f64 - year / 400.0).abs() <= 1.0);
    }

    #[test]
    fn an_old_machine_is_replaced_and_a_young_one_kept() {
        let dollars = Currency::new("USD", 2).unwrap();
        let at = |hours| upkeep(1_000_000, None, dollars, hours, 400.0).unwrap();
        assert!(!at(400.0).replace);
        let old = at(6_000.0);
        assert!(old.replace && old.next_year_minor > old.successor_year_minor);
        // A successor at ten times the price is not cheaper.
        let dear = upkeep(1_000_000, Some(20_000_000), dollars, 6_000.0, 400.0).unwrap();
        assert!(!dear.replace);
        assert!(upkeep(1_000_000, None, dollars, 1.0e6, 400.0).is_err());
        assert!(upkeep(1_000_000, None, dollars, 100.0, 0.0).is_err());
    }
}
