//! Driving times that a caller knows better than the branch's travel rule.

/// A place of the day, by what it is.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum PlaceName {
    /// The branch's yard.
    Yard,
    /// The base of a crew, by the crew's id.
    Base(String),
    /// A site, by its id.
    Site(String),
}

/// Driving times between places.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Drives {
    /// The places, each once, in the order of rows and columns.
    pub places: Vec<PlaceName>,
    /// Seconds from the row's place to the column's, row after row; none where the travel rule is to be used.
    pub seconds: Vec<Option<u32>>,
}

impl Drives {
    /// The drive between two places, if it is known.
    pub fn between(&self, from: Option<usize>, to: Option<usize>) -> Option<u32> {
        let at = from?.checked_mul(self.places.len())?.checked_add(to?)?;
        self.seconds.get(at).copied().flatten()
    }

    /// Where a place stands among the rows.
    pub fn position(&self, place: &PlaceName) -> Option<usize> {
        self.places.iter().position(|known| known == place)
    }
}
