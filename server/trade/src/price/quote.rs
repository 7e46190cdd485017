//! From cost to price.
//!
//! ```text
//! cost  = labour + machines + disposal
//! price = max(minimum, cost x (1 + overhead) / (1 - margin)), rounded up to the company's step
//! ```
//!
//! `overhead` is a share of the cost, `margin` a share of the price before minimum and step. Each
//! line is rounded once (see [`super::money`](Money)) and the total is the sum of the lines.

use super::money::{Currency, Money, decimal};
use crate::fault::{Fault, within};
use crate::units::Minutes;
use rust_decimal::Decimal;

/// How a branch prices.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PriceBook {
    /// Cost of one person for one hour, with everything paid on top of the wage.
    pub labour_per_hour: Money,
    /// Overhead as a share of the cost, 0 to 10.
    pub overhead: Decimal,
    /// Margin as a share of the price, 0 to 0.99.
    pub margin: Decimal,
    /// The least a visit is sold for.
    pub minimum: Money,
    /// Cost of getting rid of one bag of refuse.
    pub disposal_per_bag: Money,
    /// Prices are rounded up to whole steps of this; nothing for no step.
    pub step: Money,
}

/// A machine's use on a job.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MachineUse {
    /// Effective time: running time times severity.
    pub effective: Minutes,
    /// What an effective hour of it costs, see [`crate::wear`].
    pub per_effective_hour: Money,
}

/// What a job takes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JobCost<'a> {
    /// People minutes; travel too, if the company charges it to the job.
    pub labour: Minutes,
    /// The machines.
    pub machines: &'a [MachineUse],
    /// Bags of refuse.
    pub bags: u32,
}

/// A price with its lines. The lines add up to the total.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Quote {
    /// People.
    pub labour: Money,
    /// Machine hours with wear.
    pub machines: Money,
    /// Refuse.
    pub disposal: Money,
    /// Overhead on those three.
    pub overhead: Money,
    /// Margin.
    pub margin: Money,
    /// What the minimum adds.
    pub to_minimum: Money,
    /// What rounding up to the step adds.
    pub to_step: Money,
    /// What it is sold for.
    pub total: Money,
}

impl PriceBook {
    /// The branch's currency.
    pub const fn currency(&self) -> Currency {
        self.labour_per_hour.currency()
    }

    /// Prices a job.
    ///
    /// # Errors
    /// Settings out of bounds, mixed currencies, or more money than 64 bits of minor units hold.
    pub fn quote(&self, job: &JobCost<'_>) -> Result<Quote, Fault> {
        self.check()?;
        let currency = self.currency();
        let hours = |minutes: Minutes, field| -> Result<Decimal, Fault> {
            within(field, minutes.value(), 0.0, 1e9)?;
            decimal(minutes.to_hours().value(), field)
        };
        let product = |left: Decimal, right: Money, field| {
            let product = left
                .checked_mul(right.major())
                .ok_or(Fault::MoneyOverflow { field })?;
            Money::round(product, currency, field)
        };
        let labour_hours = hours(job.labour, "job.labour_minutes")?;
        let labour = product(labour_hours, self.labour_per_hour, "quote.labour")?;
        let mut machines = Money::zero(currency);
        for machine in job.machines {
            not_negative("machine.per_effective_hour", machine.per_effective_hour)?;
            machines.same(machine.per_effective_hour)?;
            let effective = hours(machine.effective, "machine.effective_minutes")?;
            machines = machines.plus(product(
                effective,
                machine.per_effective_hour,
                "quote.machines",
            )?)?;
        }
        let disposal = product(
            Decimal::from(job.bags),
            self.disposal_per_bag,
            "quote.disposal",
        )?;
        let cost = labour.plus(machines)?.plus(disposal)?;
        let overhead = product(self.overhead, cost, "quote.overhead")?;
        let with_overhead = cost.plus(overhead)?;
        // margin = price x m with price = cost / (1 - m)
        let rate = self.margin / (Decimal::ONE - self.margin);
        let margin = product(rate, with_overhead, "quote.margin")?;
        let price = with_overhead.plus(margin)?;
        let short = self.minimum.minor().saturating_sub(price.minor()).max(0);
        let to_minimum = Money::from_minor(short, currency);
        let price = price.plus(to_minimum)?;
        let step = self.step.minor();
        let past = if step > 0 { price.minor() % step } else { 0 };
        let to_step = Money::from_minor(if past > 0 { step - past } else { 0 }, currency);
        let total = price.plus(to_step)?;
        Ok(Quote {
            labour,
            machines,
            disposal,
            overhead,
            margin,
            to_minimum,
            to_step,
            total,
        })
    }

    fn check(&self) -> Result<(), Fault> {
        let share = |field, share: Decimal, most: Decimal| {
            if share >= Decimal::ZERO && share <= most {
                Ok(())
            } else {
                let value = f64::try_from(share).unwrap_or(f64::NAN);
                let high = f64::try_from(most).unwrap_or(f64::NAN);
                Err(Fault::OutOfRange {
                    field,
                    value,
                    low: 0.0,
                    high,
                })
            }
        };
        share("price.overhead", self.overhead, Decimal::TEN)?;
        share("price.margin", self.margin, Decimal::new(99, 2))?;
        for (field, money) in [
            ("price.labour_per_hour", self.labour_per_hour),
            ("price.minimum", self.minimum),
            ("price.disposal_per_bag", self.disposal_per_bag),
            ("price.step", self.step),
        ] {
            self.labour_per_hour.same(money)?;
            not_negative(field, money)?;
        }
        Ok(())
    }
}

fn not_negative(field: &'static str, money: Money) -> Result<(), Fault> {
    if money.minor() < 0 {
        let value = money.minor() as f64;
        return Err(Fault::OutOfRange {
            field,
            value,
            low: 0.0,
            high: i64::MAX as f64,
        });
    }
    Ok(())
}

impl Quote {
    /// The lines in the order they are worked, with their names.
    pub const fn lines(&self) -> [(&'static str, Money); 7] {
        [
            ("labour", self.labour),
            ("machine hours with wear", self.machines),
            ("disposal", self.disposal),
            ("overhead", self.overhead),
            ("margin", self.margin),
            ("up to the minimum", self.to_minimum),
            ("up to the price step", self.to_step),
        ]
    }

    /// What an hour of the crew on the site brings in: the price over the time it takes.
    ///
    /// # Errors
    /// A time outside 0.001 to a thousand million minutes.
    pub fn earned_per_crew_hour(&self, time: Minutes) -> Result<Money, Fault> {
        per_hour(self.total, time)
    }

    /// What is left for people, overhead and margin from an hour of the crew, once machines and
    /// disposal are paid.
    ///
    /// # Errors
    /// As [`Quote::earned_per_crew_hour`].
    pub fn left_per_crew_hour(&self, time: Minutes) -> Result<Money, Fault> {
        per_hour(self.total.minus(self.machines)?.minus(self.disposal)?, time)
    }

    /// What a price that was agreed brings in per crew hour.
    ///
    /// # Errors
    /// As [`Quote::earned_per_crew_hour`].
    pub fn sold_per_crew_hour(price: Money, time: Minutes) -> Result<Money, Fault> {
        per_hour(price, time)
    }
}

fn per_hour(money: Money, time: Minutes) -> Result<Money, Fault> {
    let minutes = within("job.time_minutes", time.value(), 1e-3, 1e9)?;
    money.times(60.0 / minutes, "quote.per_crew_hour")
}

/// An overgrown first visit beside a maintained one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Comparison {
    /// How much more the first visit costs.
    pub difference: Money,
    /// How many times as much, to two places; `None` where the other costs nothing.
    pub ratio: Option<Decimal>,
}

impl Comparison {
    /// Compares the price of a first visit with that of a maintained one.
    ///
    /// # Errors
    /// Different currencies.
    pub fn of(first: &Quote, maintained: &Quote) -> Result<Self, Fault> {
        Ok(Self {
            difference: first.total.minus(maintained.total)?,
            ratio: first
                .total
                .major()
                .checked_div(maintained.total.major())
                .map(|r| r.round_dp(2)),
        })
    }
}
