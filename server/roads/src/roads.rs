//! Drives by road, each looked for once.

use std::collections::HashMap;
use std::sync::{Mutex, PoisonError};

use forenoon_planner::index::PlaceIx;
use forenoon_planner::travel::Coordinate;

use crate::engine::Engine;

/// Most drives remembered, of some forty bytes each; beyond, all are forgotten.
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

/// The roads of a region. Drives are found by an [`Engine`] and remembered: the places of one day are most of those of
/// the next.
#[derive(Debug)]
pub struct Roads {
    engine: Engine,
    reach_metres: u32,
    /// None where there is no way.
    known: Mutex<HashMap<(Spot, Spot), Option<Drive>>>,
}

impl Roads {
    /// Of a network's engine; places that lie further than `reach_metres` from its roads are not on it.
    #[must_use]
    pub fn new(engine: Engine, reach_metres: u32) -> Self {
        Self {
            engine,
            reach_metres,
            known: Mutex::default(),
        }
    }

    /// The drives between all places, row by row: none where a place is not on the network or there is no way.
    #[must_use]
    pub fn between(&self, places: &[Coordinate]) -> Vec<Option<Drive>> {
        let (mut drives, missing) = self.remembered(places);
        if !missing.is_empty() {
            let pairs: Vec<(usize, usize)> = missing
                .iter()
                .map(|at| (at / places.len(), at % places.len()))
                .collect();
            let found = self.look(places, &pairs);
            self.remember(places, &pairs, &found);
            for (at, drive) in missing.into_iter().zip(found) {
                drives[at] = drive;
            }
        }
        drives
    }

    /// Outside the lock: others need not wait for what they don't need.
    fn look(&self, places: &[Coordinate], pairs: &[(usize, usize)]) -> Vec<Option<Drive>> {
        let approaches: Vec<_> = places
            .iter()
            .enumerate()
            .map(|(at, place)| {
                // Off the roads, for one reason or another.
                self.engine
                    .approach(PlaceIx::from_ix(at), *place, self.reach_metres)
                    .ok()
            })
            .collect();
        let mut paths = self.engine.paths();
        pairs
            .iter()
            .map(|&(from, to)| {
                let (from, to) = (approaches[from].as_ref()?, approaches[to].as_ref()?);
                let (seconds, metres) = self.engine.drive(&mut paths, from, to)?;
                Some(Drive {
                    seconds: whole(seconds),
                    metres: whole(metres),
                })
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
        if known.len() + found.len() > KNOWN_MAX {
            known.clear();
        }
        let keys = pairs
            .iter()
            .map(|&(from, to)| (spot(&places[from]), spot(&places[to])));
        known.extend(keys.zip(found.iter().copied()));
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
