//! Blowing off and collecting.
//!
//! ```text
//! minutes = area / rate x heavy debris x wet x slope x allowance
//! ```
//!
//! Debris is heavy where turf was knocked down in the same visit.

use super::{Account, Fixed, Ledger, Work, setup_of, slope_factor, wet_factor};
use crate::equipment::ToolKind;
use crate::fault::Fault;
use crate::rates::{Rate, Rates};
use crate::source::Source;

pub(super) fn blowing<'a, L: Ledger>(
    work: &Work,
    rates: &Rates,
    ledger: &'a mut L,
) -> Result<(Account<'a, L>, Fixed), Fault> {
    clear(
        work,
        rates,
        rates.blow_square_metres_per_second,
        ToolKind::Blower,
        ledger,
    )
}

pub(super) fn collecting<'a, L: Ledger>(
    work: &Work,
    rates: &Rates,
    ledger: &'a mut L,
) -> Result<(Account<'a, L>, Fixed), Fault> {
    clear(
        work,
        rates,
        rates.rake_square_metres_per_second,
        ToolKind::Rake,
        ledger,
    )
}

fn clear<'a, L: Ledger>(
    work: &Work,
    rates: &Rates,
    rate: Rate,
    tool: ToolKind,
    ledger: &'a mut L,
) -> Result<(Account<'a, L>, Fixed), Fault> {
    let area = work.area()?;
    ledger.note("area", area.value(), "m2", Source::Given);
    ledger.note("rate", rate.value, "m2/s", rate.source);
    let mut account = Account::start(ledger, "area over rate", area.value() / rate.value / 60.0);
    let heavy = if work.condition.laid {
        rates.heavy_debris.value
    } else {
        1.0
    };
    account.times("heavy debris", heavy, rates.heavy_debris.source);
    account.times("wet", wet_factor(&work.condition, rates), rates.wet.source);
    account.times(
        "slope",
        slope_factor(&work.ground, rates),
        rates.slope_per_degree.source,
    );
    account.times("passes", f64::from(work.passes), Source::Given);
    account.times(
        "rest and small delays",
        rates.allowance.value,
        rates.allowance.source,
    );
    Ok((account, Fixed::setup(setup_of(tool, rates))))
}
