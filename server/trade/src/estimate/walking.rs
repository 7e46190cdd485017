//! Walking the site, before and after.
//!
//! ```text
//! minutes = area / pace + fixed part + meeting
//! ```
//!
//! In growth too tall to mow the walk before is a search for what lies in it, at a slower pace.
//! A crew walks together: more people do not shorten it.

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
    let search = work.kind == TaskKind::WalkBefore && work.condition.turf_height > TALLEST_MOWABLE;
    let pace = if search {
        rates.search_square_metres_per_second
    } else {
        rates.walk_square_metres_per_second
    };
    ledger.note("area", area.value(), "m2", Source::Given);
    ledger.note("pace", pace.value, "m2/s", pace.source);
    let account = Account::start(ledger, "area over pace", area.value() / pace.value / 60.0);
    let mut fixed = Fixed::setup(rates.walk_minutes);
    fixed.what = "the walk itself";
    Ok((account, fixed))
}
