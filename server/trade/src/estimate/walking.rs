//! Walking the site, before and after.
//!
//! ```text
//! minutes = 4 sqrt(area) / pace + area / search rate + fixed part
//! ```
//!
//! One round of the site, as long as the outline of a square of its area. Where growth is too tall
//! to mow, the walk before is a search for what lies in it besides, over the whole area. A crew
//! walks together: more people do not shorten it.

use super::{Account, Fixed, Ledger, TALLEST_MOWABLE, Work};
use crate::fault::Fault;
use crate::rates::Rates;
use crate::source::Source;
use crate::task::TaskKind;

pub(super) fn account<'a, L: Ledger>(
    work: &Work,
    rates: &Rates,
    ledger: &'a mut L,
) -> Result<(Account<'a, L>, Fixed), Fault> {
    let area = work.area()?;
    let pace = rates.walk_metres_per_second;
    let round = area.side() * 4.0;
    ledger.note("area", area.value(), "m2", Source::Given);
    ledger.note("pace", pace.value, "m/s", pace.source);
    let mut account = Account::start(
        ledger,
        "once round over pace",
        round.value() / pace.value / 60.0,
    );
    let search = work.kind == TaskKind::WalkBefore && work.condition.turf_height > TALLEST_MOWABLE;
    if search {
        let rate = rates.search_square_metres_per_second;
        account.plus(
            "search of tall growth",
            area.value() / rate.value / 60.0,
            rate.source,
        );
    }
    let mut fixed = Fixed::setup(rates.walk_minutes);
    fixed.what = "the walk itself";
    Ok((account, fixed))
}
