//! The price of a job by the branch's rates, line by line.

use forenoon_store::value::Clippings;
use forenoon_trade::appraise::refuse_bags;
use forenoon_trade::estimate::{Job as WholeJob, Work};
use forenoon_trade::fault::Fault;
use forenoon_trade::price::{JobCost, MachineUse, Money, PriceBook, Quote};
use forenoon_trade::rates::Rates;
use forenoon_trade::units::Minutes;
use forenoon_trade::wear::Severity;
use rust_decimal::Decimal;

use super::{Question, Timed};
use crate::upkeep::per_effective_hour;

/// Basis points are hundredths of a percent.
const BASIS_POINT_DIGITS: u32 = 4;
/// One line of a price.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PriceLine {
    /// What it is for.
    pub label: String,
    /// How much, minor units; less than nothing where an agreed price takes off.
    pub minor: i64,
}

/// A price and what it earns.
pub(super) struct Priced {
    pub lines: Vec<PriceLine>,
    pub price_minor: Option<i64>,
    pub earned_per_worker_hour_minor: Option<i64>,
}

/// Prices a job. Without a rate for labour only an agreed price is told.
pub(super) fn priced(
    question: &Question<'_>,
    timed: &[Timed<'_>],
    whole: &WholeJob,
    rates: &Rates,
    notices: &mut Vec<String>,
) -> Result<Priced, Fault> {
    let currency = question.currency;
    let mut lines = Vec::new();
    let mut worked_out = None;
    if let Some(book) = book(question) {
        let quote = quote(question, &book, timed, whole, rates, notices)?;
        lines = quote_lines(&quote);
        worked_out = Some(quote.total.minor());
    } else {
        notices.push(
            "the branch has no rate for labour, so there is no price; set price.labour_per_hour"
                .to_owned(),
        );
    }
    if let (Some(agreed), Some(worked_out)) = (question.job.price_minor, worked_out)
        && agreed != worked_out
    {
        lines.push(PriceLine {
            label: "to the price agreed".to_owned(),
            minor: agreed.saturating_sub(worked_out),
        });
    }
    let price_minor = question.job.price_minor.or(worked_out);
    let earned = price_minor
        .filter(|_| whole.labour > Minutes::ZERO)
        .map(|minor| Quote::sold_per_crew_hour(Money::from_minor(minor, currency), whole.labour))
        .transpose()?;
    Ok(Priced {
        lines,
        price_minor,
        earned_per_worker_hour_minor: earned.map(Money::minor),
    })
}

fn book(question: &Question<'_>) -> Option<PriceBook> {
    let rule = &question.branch.price;
    let money = |minor: Option<i64>| Money::from_minor(minor.unwrap_or(0), question.currency);
    let share = |basis_points: i32| Decimal::new(i64::from(basis_points), BASIS_POINT_DIGITS);
    rule.labour_per_hour_minor?;
    Some(PriceBook {
        labour_per_hour: money(rule.labour_per_hour_minor),
        overhead: share(rule.overhead_basis_points),
        margin: share(rule.margin_basis_points),
        minimum: money(rule.minimum_charge_minor),
        disposal_per_bag: money(rule.disposal_per_bag_minor),
        step: Money::zero(question.currency),
    })
}

fn quote(
    question: &Question<'_>,
    book: &PriceBook,
    timed: &[Timed<'_>],
    whole: &WholeJob,
    rates: &Rates,
    notices: &mut Vec<String>,
) -> Result<Quote, Fault> {
    let severity = Severity::default();
    let mut machines = Vec::new();
    for one in timed {
        let effective = severity.effective(&one.work, one.estimate.running);
        if effective <= Minutes::ZERO {
            continue;
        }
        for unit in &one.tool.units {
            match per_effective_hour(unit, question.currency)? {
                Some(per_effective_hour) => machines.push(MachineUse {
                    effective,
                    per_effective_hour,
                }),
                None => notices.push(format!(
                    "{} has no purchase price on record, so its wear is not in the price",
                    unit.display_name
                )),
            }
        }
    }
    // What stays at the customer's heap or on the turf costs no disposal.
    let bags = match question.site.clippings {
        Clippings::TakeAway => {
            let works: Vec<Work> = timed.iter().map(|one| one.work).collect();
            refuse_bags(&works, rates)
        }
        Clippings::MayLie | Clippings::CustomerHeap => 0,
    };
    book.quote(&JobCost {
        labour: whole.labour,
        machines: &machines,
        bags,
    })
}

/// The lines that are not nothing; labour always.
fn quote_lines(quote: &Quote) -> Vec<PriceLine> {
    quote
        .lines()
        .into_iter()
        .enumerate()
        .filter(|(index, (_, money))| *index == 0 || money.minor() != 0)
        .map(|(_, (label, money))| PriceLine {
            label: label.to_owned(),
            minor: money.minor(),
        })
        .collect()
}
