//! Edging hard edges.
//!
//! ```text
//! edger:       minutes = length / rate x first service x (1 + k x growth over the edge) x slope x allowance
//! flat shovel: minutes = length x growth over the edge / rate x slope x allowance
//! line head:   as the edger, slower, and the gap it leaves widens with every use
//! ```

use super::{Account, Fixed, Ledger, Work, setup_of, slope_factor, wet_factor};
use crate::equipment::ToolKind;
use crate::fault::Fault;
use crate::rates::Rates;
use crate::source::Source;
use crate::task::Method;
use crate::units::Metres;

/// Growth this far over a hard edge (6 in) is lifted off with a flat shovel before it is edged.
/// Common practice, no source.
pub const FLAT_SHOVEL_FROM: Metres = Metres::from_inches(6.0);

/// Width of the gap beside a hard edge after `services` edgings by line head instead of an edger.
///
/// A clean cut leaves 1/8 in; each further service with a line doubles it up to 1 in. Common
/// practice, no source.
pub fn gap_after_line_edging(services: u32) -> Metres {
    let clean = 0.125;
    let widest = 1.0;
    Metres::from_inches((clean * f64::from(1_u32 << services.min(8))).min(widest))
}

pub(super) fn account<'a, L: Ledger>(
    work: &Work,
    rates: &Rates,
    ledger: &'a mut L,
) -> Result<(Account<'a, L>, Fixed), Fault> {
    let length = work.length()?;
    let over = work.condition.edge_overgrowth;
    ledger.note("length", length.value(), "m", Source::Given);
    let slope = slope_factor(&work.ground, rates);
    let (mut account, tool) = if work.method == Method::FlatShovel {
        let rate = rates.shovel_square_metres_per_second;
        ledger.note("rate", rate.value, "m2/s", rate.source);
        let mat = length.by(over.max(Metres::from_inches(1.0)));
        let account = Account::start(
            ledger,
            "length times growth over the edge, over rate",
            mat.value() / rate.value / 60.0,
        );
        (account, ToolKind::FlatShovel)
    } else {
        let rate = rates.edge_metres_per_second;
        ledger.note("rate", rate.value, "m/s", rate.source);
        let mut account = Account::start(
            ledger,
            "length over rate",
            length.value() / rate.value / 60.0,
        );
        let first = if work.condition.first_service {
            rates.edge_first.value
        } else {
            1.0
        };
        account.times("first edging", first, rates.edge_first.source);
        // Beyond the flat shovel's threshold the mat is gone when the edger comes.
        let left = over.min(FLAT_SHOVEL_FROM).value();
        let per_metre = rates.edge_per_metre_over;
        account.times(
            "growth over the edge",
            1.0 + per_metre.value * left,
            per_metre.source,
        );
        let tool = if work.method == Method::LineHead {
            account.times(
                "line head",
                rates.edge_line_head.value,
                rates.edge_line_head.source,
            );
            ToolKind::LineHead
        } else {
            ToolKind::Edger
        };
        (account, tool)
    };
    account.times("slope", slope, rates.slope_per_degree.source);
    account.times("wet", wet_factor(&work.condition, rates), rates.wet.source);
    account.times("passes", f64::from(work.passes), Source::Given);
    account.times(
        "rest and small delays",
        rates.allowance.value,
        rates.allowance.source,
    );
    Ok((account, Fixed::setup(setup_of(tool, rates))))
}
