//! A travel table turned over.

use std::sync::OnceLock;

use super::Travel;
use crate::index::PlaceIx;

/// The columns of a travel table, one after the other.
#[derive(Debug)]
pub(crate) struct Turned {
    pub(crate) seconds: Vec<u32>,
    pub(crate) metres: Vec<u32>,
}

/// The columns, made when they are first asked for and shared by all copies of a table. They follow from the table, so
/// that tables are equal whether they have them or not.
#[derive(Debug, Default)]
pub(super) struct Columns(OnceLock<Turned>);

impl PartialEq for Columns {
    fn eq(&self, _: &Self) -> bool {
        true
    }
}

impl Eq for Columns {}

impl Columns {
    /// None when cancelled.
    pub(super) fn of(&self, travel: &Travel, goes_on: &impl Fn() -> Option<()>) -> Option<&Turned> {
        if self.0.get().is_none() {
            let places: Vec<PlaceIx> = (0..travel.places()).map(PlaceIx::from_ix).collect();
            let turned = Turned {
                seconds: columns(&places, |from| travel.seconds_from(from), goes_on)?,
                metres: columns(&places, |from| travel.metres_from(from), goes_on)?,
            };
            // Of two that were made at once either will do.
            let _ = self.0.set(turned);
        }
        self.0.get()
    }
}

fn columns<'t>(
    places: &[PlaceIx],
    row: impl Fn(PlaceIx) -> &'t [u32],
    goes_on: &impl Fn() -> Option<()>,
) -> Option<Vec<u32>> {
    let rows: Vec<&[u32]> = places.iter().map(|&from| row(from)).collect();
    let mut table = Vec::with_capacity(places.len() * places.len());
    for to in 0..places.len() {
        goes_on()?;
        table.extend(rows.iter().map(|row| row[to]));
    }
    Some(table)
}
