//! The travel table laid out for the search: a job is tried at many positions, and each look asks for a time and a
//! distance both ways.

use crate::Seconds;
use crate::index::PlaceIx;
use crate::travel::Travel;

/// An entry of the travel table.
#[derive(Debug, Clone, Copy)]
struct Way {
    seconds: u32,
    metres: u32,
}

/// The whole table, from each place and to each place.
#[derive(Debug, Default)]
pub(crate) struct Ways {
    places: usize,
    onward: Vec<Way>,
    /// The same turned over, if that makes a difference.
    inward: Vec<Way>,
}

impl Ways {
    /// None when cancelled.
    pub(crate) fn of(travel: &Travel, goes_on: &impl Fn() -> Option<()>) -> Option<Self> {
        let places = travel.places();
        let rows: Vec<(&[u32], &[u32])> = (0..places)
            .map(PlaceIx::from_ix)
            .map(|from| (travel.seconds_from(from), travel.metres_from(from)))
            .collect();
        let way = |from: usize, to: usize| Way {
            seconds: rows[from].0[to],
            metres: rows[from].1[to],
        };
        let table = |way: &dyn Fn(usize, usize) -> Way| {
            let mut ways = Vec::with_capacity(places * places);
            for one in 0..places {
                goes_on()?;
                ways.extend((0..places).map(|other| way(one, other)));
            }
            Some(ways)
        };
        Some(Self {
            places,
            onward: table(&way)?,
            inward: if travel.is_symmetric() {
                Vec::new()
            } else {
                table(&|to, from| way(from, to))?
            },
        })
    }

    /// Drives to and from a place.
    pub(crate) fn drives(&self, place: PlaceIx) -> Drives<'_> {
        let row = place.ix() * self.places..(place.ix() + 1) * self.places;
        let to = &self.onward[row.clone()];
        let from = if self.inward.is_empty() {
            to
        } else {
            &self.inward[row]
        };
        Drives { to, from }
    }
}

/// Table entries between one place and all others, each in one stretch of memory.
#[derive(Clone, Copy)]
pub(crate) struct Drives<'m> {
    to: &'m [Way],
    from: &'m [Way],
}

impl Drives<'_> {
    /// Table seconds and metres from the other place to this one.
    pub(crate) fn from(&self, other: PlaceIx) -> (Seconds, i64) {
        figures(self.from[other.ix()])
    }

    /// Table seconds and metres from this place to the other one.
    pub(crate) fn to(&self, other: PlaceIx) -> (Seconds, i64) {
        figures(self.to[other.ix()])
    }
}

fn figures(way: Way) -> (Seconds, i64) {
    (Seconds::from(way.seconds), i64::from(way.metres))
}
