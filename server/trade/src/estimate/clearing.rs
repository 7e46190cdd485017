//! Cutting without a mower: knocking down, brush and trimming.
//!
//! ```text
//! minutes = amount / rate x (1 + k x (height - 0.5 m)) x passes x density x slope x wet x allowance
//! passes of a line head = ceil((stem / d)^2), of a blade head = 1
//! ```
//!
//! The work of cutting a stem goes with its cross-section, hence the square; `d` is the stem one
//! pass of line still cuts. Common practice, no source: stems of about half an inch take five to
//! six passes with a line head and one with a blade, which is what `d` is set by.

use super::{
    Account, Fixed, Ledger, MOST_PASSES, Work, density_factor, setup_of, slope_factor, wet_factor,
};
use crate::equipment::ToolKind;
use crate::fault::Fault;
use crate::rates::Rates;
use crate::source::Source;
use crate::task::{Method, TaskKind};
use crate::units::Metres;

/// The thickest stem a hand-held brush blade takes (1 in). Common practice, no source; the
/// machine's manual decides.
const THICKEST_FOR_BLADE: Metres = Metres::from_inches(1.0);

/// Passes a head needs over stems of a thickness.
///
/// # Errors
/// [`Fault::StemTooThick`] where the head cannot cut them at all; [`Fault::WrongMethod`] never.
pub fn cutting_passes(method: Method, stem: Metres, rates: &Rates) -> Result<u8, Fault> {
    let too_thick = |limit: Metres| Fault::StemTooThick {
        method,
        stem_metres: stem.value(),
        limit_metres: limit.value(),
    };
    if method == Method::BladeHead {
        return if stem <= THICKEST_FOR_BLADE {
            Ok(1)
        } else {
            Err(too_thick(THICKEST_FOR_BLADE))
        };
    }
    let one_pass = rates.line_head_stem_metres.value;
    let needed = (stem.value() / one_pass).powi(2).ceil().max(1.0);
    (1..=MOST_PASSES)
        .find(|passes| f64::from(*passes) >= needed)
        .ok_or_else(|| too_thick(Metres::new(one_pass * f64::from(MOST_PASSES).sqrt())))
}

pub(super) fn account<'a, L: Ledger>(
    work: &Work,
    rates: &Rates,
    ledger: &'a mut L,
) -> Result<(Account<'a, L>, Fixed), Fault> {
    let area = work.area()?;
    let rate = if work.kind == TaskKind::CutBrush {
        rates.brush_square_metres_per_second
    } else {
        rates.knock_down_square_metres_per_second
    };
    ledger.note("area", area.value(), "m2", Source::Given);
    ledger.note("rate", rate.value, "m2/s", rate.source);
    let account = Account::start(ledger, "area over rate", area.value() / rate.value / 60.0);
    finish(work, rates, account)
}

pub(super) fn trimming<'a, L: Ledger>(
    work: &Work,
    rates: &Rates,
    ledger: &'a mut L,
) -> Result<(Account<'a, L>, Fixed), Fault> {
    let length = work.length()?;
    let rate = rates.trim_metres_per_second;
    ledger.note("length", length.value(), "m", Source::Given);
    ledger.note("rate", rate.value, "m/s", rate.source);
    let account = Account::start(
        ledger,
        "length over rate",
        length.value() / rate.value / 60.0,
    );
    finish(work, rates, account)
}

fn finish<'a, L: Ledger>(
    work: &Work,
    rates: &Rates,
    mut account: Account<'a, L>,
) -> Result<(Account<'a, L>, Fixed), Fault> {
    let condition = &work.condition;
    let passes = cutting_passes(work.method, condition.stem, rates)?.max(work.passes);
    let over = (condition.turf_height.value() - 0.5).max(0.0);
    let density = density_factor(condition.density, rates);
    account.times(
        "height",
        1.0 + rates.tall_per_metre.value * over,
        rates.tall_per_metre.source,
    );
    account.times(
        "passes",
        f64::from(passes),
        rates.line_head_stem_metres.source,
    );
    account.times("density", density.value, density.source);
    account.times(
        "slope",
        slope_factor(&work.ground, rates),
        rates.slope_per_degree.source,
    );
    account.times("wet", wet_factor(condition, rates), rates.wet.source);
    account.times(
        "rest and small delays",
        rates.allowance.value,
        rates.allowance.source,
    );
    let tool = if work.method == Method::BladeHead {
        ToolKind::BladeHead
    } else {
        ToolKind::LineHead
    };
    Ok((account, Fixed::setup(setup_of(tool, rates))))
}
