//! Driving times that a caller sends along.

use std::collections::BTreeSet;

use forenoon_desk::drives::{Drives, PlaceName};
use forenoon_proto::v1;

use crate::edge::checks::Checks;
use crate::edge::name::parse;
use crate::work::Reason;

/// Places of one matrix.
const PLACES_MAX: usize = 1_000;
/// The longest drive, seconds.
const SECONDS_MAX: i32 = 86_400;
/// Where the branch's travel rule is to be used.
const NOT_KNOWN: i32 = -1;

/// A matrix as the desk knows it; absent is one without places.
pub(super) fn drives(
    checks: &mut Checks,
    branch: &str,
    wire: Option<v1::TravelMatrix>,
) -> Option<Drives> {
    let v1::TravelMatrix { places, seconds } = wire.unwrap_or_default();
    checks.within("travel_matrix", |checks| {
        let mut seen = BTreeSet::new();
        let places = checks.each("places", places, PLACES_MAX, |checks, name| {
            let place = place(checks, branch, &name)?;
            if !seen.insert(place.clone()) {
                return checks.fault(
                    "",
                    Reason::Duplicate,
                    "is named already; give each place once",
                );
            }
            Some(place)
        })?;
        let wanted = places.len() * places.len();
        if seconds.len() != wanted {
            let given = seconds.len();
            return checks.fault(
                "seconds",
                Reason::Malformed,
                format!("has {given} entries; give {wanted}, one for each pair of places"),
            );
        }
        let rows = places.len();
        for (index, given) in seconds.iter().enumerate() {
            // One fault is told: a matrix that is wrong is wrong all over.
            entry(checks, index, rows, *given)?;
        }
        Some(Drives {
            places,
            seconds: seconds
                .into_iter()
                .map(|given| u32::try_from(given).ok())
                .collect(),
        })
    })
}

/// Checks one entry.
fn entry(checks: &mut Checks, index: usize, rows: usize, given: i32) -> Option<()> {
    let field = format!("seconds[{index}]");
    let is_loop = index / rows == index % rows;
    if is_loop && given != 0 {
        let what = format!("is {given} from a place to itself; give 0");
        return checks.fault(&field, Reason::OutOfRange, what);
    }
    if (NOT_KNOWN..=SECONDS_MAX).contains(&given) {
        return Some(());
    }
    checks.fault(
        &field,
        Reason::OutOfRange,
        format!("is {given}; give 0 to {SECONDS_MAX}, or {NOT_KNOWN} where it is not known"),
    )
}

/// A place of the branch: its yard, a crew's base or a site.
fn place(checks: &mut Checks, branch: &str, name: &str) -> Option<PlaceName> {
    let ours = |other: &String| other == branch;
    let yard = parse(["branches"], name)
        .filter(|[id]| ours(id))
        .map(|_| PlaceName::Yard);
    let base = parse(["branches", "crews"], name)
        .filter(|[id, _]| ours(id))
        .map(|[_, crew]| PlaceName::Base(crew));
    let site = parse(["branches", "sites"], name)
        .filter(|[id, _]| ours(id))
        .map(|[_, site]| PlaceName::Site(site));
    yard.or(base).or(site).or_else(|| {
        checks.fault(
            "",
            Reason::Malformed,
            "is neither the branch nor a crew or site of it; give its resource name",
        )
    })
}
