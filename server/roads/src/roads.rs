//! Drives by road, each looked for once.

use std::collections::HashMap;
use std::sync::{Mutex, PoisonError};

use forenoon_planner::Cancel;
use forenoon_planner::index::PlaceIx;
use forenoon_planner::travel::Coordinate;

use crate::PLACES_MAX;
use crate::engine::Engine;

/// Most drives remembered, of some forty bytes each. When there is no room for those of a day, all others are forgotten, and
/// of a day that alone has more only so many are kept.
const KNOWN_MAX: usize = 4_000_000;

/// A place, by the bits of its coordinates.
type Spot = [u64; 2];

/// A drive by road, either way of which may be another.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Drive {
    /// Seconds by the quickest way, rounded to the nearest.
    pub seconds: u32,
    /// Metres of that way, rounded to the nearest.
    pub metres: u32,
}

/// Why no drives are told.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NoDrives {
    /// There is an entry for each pair of places, so that these are too many.
    #[error("{places} places, at most {PLACES_MAX} are allowed")]
    TooManyPlaces {
        /// Places given.
        places: usize,
    },
    /// Nobody waits for them any more.
    #[error("cancelled")]
    Cancelled,
}

/// The roads of a region. Drives are found by an [`Engine`] and remembered: the places of one day are most of those of
/// the next.
#[derive(Debug)]
pub struct Roads {
    engine: Engine,
    reach_metres: u32,
    /// None where there is no way.
    known: Mutex<HashMap<(Spot, Spot), Option<Drive>>>,
    known_max: usize,
}

impl Roads {
    /// Of a network's engine; places that lie further than `reach_metres` from its roads are not on it.
    #[must_use]
    pub fn new(engine: Engine, reach_metres: u32) -> Self {
        Self {
            engine,
            reach_metres,
            known: Mutex::default(),
            known_max: KNOWN_MAX,
        }
    }

    /// The drives between all places, row by row: none where a place is not on the network or there is no way. What was found
    /// by the time it is cancelled is remembered.
    ///
    /// # Errors
    /// When there are too many places, and when it is cancelled before all drives are found.
    pub fn between(
        &self,
        places: &[Coordinate],
        cancel: &Cancel,
    ) -> Result<Vec<Option<Drive>>, NoDrives> {
        if places.len() > PLACES_MAX {
            return Err(NoDrives::TooManyPlaces {
                places: places.len(),
            });
        }
        let (mut drives, missing) = self.remembered(places);
        if !missing.is_empty() {
            let pairs: Vec<(usize, usize)> = missing
                .iter()
                .map(|at| (at / places.len(), at % places.len()))
                .collect();
            let found = self.look(places, &pairs, cancel);
            self.remember(places, &pairs, &found);
            if found.len() < pairs.len() {
                return Err(NoDrives::Cancelled);
            }
            for (at, drive) in missing.into_iter().zip(found) {
                drives[at] = drive;
            }
        }
        Ok(drives)
    }

    /// The drives of as many of the pairs as are found before it is cancelled. Outside the lock: others need not wait for what
    /// they don't need.
    fn look(
        &self,
        places: &[Coordinate],
        pairs: &[(usize, usize)],
        cancel: &Cancel,
    ) -> Vec<Option<Drive>> {
        let approaches: Vec<_> = places
            .iter()
            .enumerate()
            .map_while(|(at, place)| {
                // Off the roads, for one reason or another.
                let approach =
                    self.engine
                        .approach(PlaceIx::from_ix(at), *place, self.reach_metres);
                (!cancel.is_raised()).then_some(approach.ok())
            })
            .collect();
        if approaches.len() < places.len() {
            return Vec::new();
        }
        let mut paths = self.engine.paths();
        pairs
            .iter()
            .map_while(|&(from, to)| {
                if cancel.is_raised() {
                    return None;
                }
                let ends = approaches[from].as_ref().zip(approaches[to].as_ref());
                let found = ends.and_then(|(from, to)| self.engine.drive(&mut paths, from, to));
                Some(found.map(|(seconds, metres)| Drive {
                    seconds: whole(seconds),
                    metres: whole(metres),
                }))
            })
            .collect()
    }

    /// What is known, and the entries that were not looked for yet; a place is at itself.
    fn remembered(&self, places: &[Coordinate]) -> (Vec<Option<Drive>>, Vec<usize>) {
        const HERE: Option<Drive> = Some(Drive {
            seconds: 0,
            metres: 0,
        });
        let spots: Vec<Spot> = places.iter().map(spot).collect();
        let known = self.known.lock().unwrap_or_else(PoisonError::into_inner);
        let mut drives = Vec::with_capacity(spots.len() * spots.len());
        let mut missing = Vec::new();
        for from in &spots {
            for to in &spots {
                let drive = if from == to {
                    Some(&HERE)
                } else {
                    known.get(&(*from, *to))
                };
                if drive.is_none() {
                    missing.push(drives.len());
                }
                drives.push(drive.copied().flatten());
            }
        }
        (drives, missing)
    }

    fn remember(&self, places: &[Coordinate], pairs: &[(usize, usize)], found: &[Option<Drive>]) {
        let mut known = self.known.lock().unwrap_or_else(PoisonError::into_inner);
        if known.len() + found.len() > self.known_max {
            known.clear();
        }
        let keys = pairs
            .iter()
            .map(|&(from, to)| (spot(&places[from]), spot(&places[to])));
        known.extend(keys.zip(found.iter().copied()).take(self.known_max));
    }
}

fn spot(place: &Coordinate) -> Spot {
    [place.latitude.to_bits(), place.longitude.to_bits()]
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a drive within one file is no longer than the Earth is round"
)]
fn whole(value: f64) -> u32 {
    value.round().max(0.0) as u32
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Network;

    const TOWN: &[u8] = include_bytes!("../tests/town/town.osm.pbf");

    fn roads(known_max: usize) -> (Roads, Vec<Coordinate>) {
        let network = Network::read(TOWN).unwrap_or_else(|error| unreachable!("{error}"));
        let places = network
            .points()
            .iter()
            .step_by(7)
            .take(12)
            .copied()
            .collect();
        let roads = Roads {
            known_max,
            ..Roads::new(Engine::new(&network), 50)
        };
        (roads, places)
    }

    fn known(roads: &Roads) -> usize {
        roads
            .known
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .len()
    }

    /// No more is remembered than may be, also of a day that alone has more, and what is forgotten is found again.
    #[test]
    fn no_more_is_remembered_than_may_be() {
        let (plenty, places) = roads(KNOWN_MAX);
        let drives = plenty.between(&places, &Cancel::new());
        assert_eq!(known(&plenty), 12 * 11);
        let (few, _) = roads(100);
        for _ in 0..3 {
            assert_eq!(few.between(&places, &Cancel::new()), drives);
            assert_eq!(known(&few), 100);
            // Ninety drives that are known in part.
            assert!(few.between(&places[2..], &Cancel::new()).is_ok());
            assert!(known(&few) <= 100);
        }
    }

    /// Who is no longer waited for looks no further, and tells nothing rather than a part.
    #[test]
    fn a_look_for_drives_can_be_cancelled() {
        let (roads, places) = roads(KNOWN_MAX);
        let cancel = Cancel::new();
        cancel.raise();
        assert_eq!(roads.between(&places, &cancel), Err(NoDrives::Cancelled));
        assert_eq!(known(&roads), 0);
        // What is known already takes no time.
        let drives = roads.between(&places, &Cancel::new());
        assert!(drives.is_ok());
        assert_eq!(roads.between(&places, &cancel), drives);
    }

    /// The answer has an entry for each pair of places, and so a bound.
    #[test]
    fn too_many_places_are_refused() {
        let (roads, places) = roads(KNOWN_MAX);
        let many = vec![places[0]; PLACES_MAX + 1];
        let refused = roads.between(&many, &Cancel::new());
        assert_eq!(
            refused,
            Err(NoDrives::TooManyPlaces {
                places: PLACES_MAX + 1
            })
        );
    }
}
