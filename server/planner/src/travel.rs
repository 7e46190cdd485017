//! How long and how far it is from place to place.
//!
//! A table in seconds comes from the caller (a road engine, a survey) or is reckoned from coordinates by great-circle
//! distance, a road factor and a speed. Hours with slow roads stretch the table by [`HourPace`].

mod turned;

use std::sync::Arc;

use crate::Seconds;
use crate::index::PlaceIx;
use crate::problem::limits::{PLACES_MAX, TRAVEL_METRES_MAX, TRAVEL_SECONDS_MAX};
use turned::Columns;
pub(crate) use turned::Turned;

/// Mean radius of the Earth in metres, rounded from the 6 371 008.7714 m of the GRS 80 ellipsoid (H. Moritz, "Geodetic
/// Reference System 1980", Journal of Geodesy 74, 2000).
pub const EARTH_RADIUS_METRES: f64 = 6_371_008.8;

/// A position on the ground in degrees (WGS 84).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coordinate {
    /// Latitude in degrees, -90 to 90.
    pub latitude: f64,
    /// Longitude in degrees, -180 to 180.
    pub longitude: f64,
}

impl Coordinate {
    /// Great-circle distance in metres, by the haversine formula on a sphere of [`EARTH_RADIUS_METRES`].
    pub fn distance_metres(self, other: Self) -> f64 {
        let (lat_a, lat_b) = (self.latitude.to_radians(), other.latitude.to_radians());
        let half_lat = (lat_b - lat_a) / 2.0;
        let half_lon = (other.longitude - self.longitude).to_radians() / 2.0;
        let chord = half_lat.sin().powi(2) + lat_a.cos() * lat_b.cos() * half_lon.sin().powi(2);
        2.0 * EARTH_RADIUS_METRES * chord.sqrt().min(1.0).asin()
    }
}

/// What turns a straight line into a drive.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RoadModel {
    /// Road metres per 1,000 straight metres, 1,000 to 5,000. Common practice takes 1,200 to 1,400 in a town with a
    /// street grid; no source.
    pub road_permille: u32,
    /// Mean driving speed in metres per hour, 1,000 to 200,000.
    pub metres_per_hour: u32,
    /// Seconds added to every drive between different places, for parking and pulling out.
    pub stop_seconds: u32,
}

/// Why travel data was refused.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum TravelFault {
    /// A table must have one row and one column for each place.
    #[error("the travel table has {entries} entries, {expected} are needed for {places} places")]
    TableSize {
        /// Places stated.
        places: usize,
        /// Entries found.
        entries: usize,
        /// Entries needed.
        expected: usize,
    },
    /// No place at all.
    #[error("there are no places")]
    NoPlaces,
    /// Too many places.
    #[error("{places} places, at most {PLACES_MAX} are allowed")]
    TooManyPlaces {
        /// Places stated.
        places: usize,
    },
    /// A pair of places has no entry.
    #[error("no travel time from place {} to place {}", from.0, to.0)]
    Hole {
        /// Row.
        from: PlaceIx,
        /// Column.
        to: PlaceIx,
    },
    /// An entry is negative or too large.
    #[error("travel from place {} to place {} is {value}, allowed is 0 to {max}", from.0, to.0)]
    OutOfRange {
        /// Row.
        from: PlaceIx,
        /// Column.
        to: PlaceIx,
        /// Value found.
        value: i64,
        /// Largest value allowed.
        max: i64,
    },
    /// A place is not at distance zero from itself.
    #[error("travel from place {} to itself is {value}, it must be 0", place.0)]
    Loop {
        /// The place.
        place: PlaceIx,
        /// Value found.
        value: i64,
    },
    /// Going round by a third place is quicker.
    #[error("from place {} to place {} takes {direct} s, but {detour} s by way of place {}", from.0, to.0, by.0)]
    Triangle {
        /// Start.
        from: PlaceIx,
        /// The third place.
        by: PlaceIx,
        /// End.
        to: PlaceIx,
        /// Direct seconds.
        direct: i64,
        /// Seconds by way of the third place.
        detour: i64,
    },
    /// A coordinate is not on the Earth.
    #[error("place {} has no valid coordinate", place.0)]
    Coordinate {
        /// The place.
        place: PlaceIx,
    },
    /// A road model's figure is out of range.
    #[error("{field} is {value}, allowed is {min} to {max}")]
    Road {
        /// The field.
        field: &'static str,
        /// Value found.
        value: u32,
        /// Least value allowed.
        min: u32,
        /// Largest value allowed.
        max: u32,
    },
    /// An hour's pace is out of range.
    #[error(
        "the pace of hour {hour} is {permille} permille, allowed is {PACE_PERMILLE_MIN} to {PACE_PERMILLE_MAX}"
    )]
    Pace {
        /// Hour after the origin, 0 to 23.
        hour: usize,
        /// Value found.
        permille: u32,
    },
}

/// How to take a table in which a detour is quicker than the direct way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Triangle {
    /// Refuse it when the detour saves more than so many seconds (rounding makes small violations in honest tables).
    ///
    /// Up to 256 places every detour is tried; beyond, those by way of the 24 places nearest to each start.
    Refuse {
        /// Violation tolerated, seconds.
        tolerance_seconds: u32,
    },
    /// Take it as it is.
    Accept,
}

/// Slowest pace allowed, permille of the table's speed.
pub const PACE_PERMILLE_MIN: u32 = 100;
/// Quickest pace allowed, permille of the table's speed.
pub const PACE_PERMILLE_MAX: u32 = 3_000;

/// The pace of traffic in each hour after the origin, in permille of the table's speed: 800 means that a drive of 800
/// table seconds takes 1,000 seconds. The pattern repeats each 24 hours. A drive that lasts over the hour changes pace
/// on the way, so leaving later never means arriving earlier.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HourPace([u32; 24]);

impl HourPace {
    /// Verifies the paces.
    ///
    /// # Errors
    /// [`TravelFault::Pace`] for the first hour out of range.
    pub fn new(permille: [u32; 24]) -> Result<Self, TravelFault> {
        for (hour, &pace) in permille.iter().enumerate() {
            if !(PACE_PERMILLE_MIN..=PACE_PERMILLE_MAX).contains(&pace) {
                return Err(TravelFault::Pace {
                    hour,
                    permille: pace,
                });
            }
        }
        Ok(Self(permille))
    }

    /// The paces by hour.
    pub const fn permille(&self) -> &[u32; 24] {
        &self.0
    }
}

/// A verified table of travel times and distances. A copy shares the table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Travel {
    places: usize,
    seconds: Arc<[u32]>,
    metres: Arc<[u32]>,
    pace: Option<HourPace>,
    /// Pace of the quickest hour, never below the table's own, permille.
    best_permille: i64,
    /// Whether every drive is the same both ways.
    symmetric: bool,
    columns: Arc<Columns>,
}

impl Travel {
    /// From a table in seconds, row by row (`seconds[from * places + to]`), with distances in metres if known (zero
    /// otherwise). A pair without a way is `None`, which is refused.
    ///
    /// # Errors
    /// All faults found, at most 100.
    pub fn from_table(
        places: usize,
        seconds: &[Option<i64>],
        metres: Option<&[Option<i64>]>,
        triangle: Triangle,
    ) -> Result<Self, Vec<TravelFault>> {
        check_count(places)?;
        let mut faults = Vec::new();
        let seconds = read_table(places, seconds, TRAVEL_SECONDS_MAX, &mut faults);
        let metres = match metres {
            Some(metres) => read_table(places, metres, TRAVEL_METRES_MAX, &mut faults),
            None => vec![0; places * places],
        };
        if faults.is_empty()
            && let Triangle::Refuse { tolerance_seconds } = triangle
        {
            find_detours(places, &seconds, tolerance_seconds, &mut faults);
        }
        if faults.is_empty() {
            let symmetric = is_symmetric(places, &seconds) && is_symmetric(places, &metres);
            Ok(Self {
                places,
                seconds: seconds.into(),
                metres: metres.into(),
                pace: None,
                best_permille: 1_000,
                symmetric,
                columns: Arc::default(),
            })
        } else {
            Err(faults)
        }
    }

    /// From coordinates: great-circle metres times the road factor, at the road model's speed, rounded to the nearest
    /// second. A drive is never longer than the longest that a table may have, in time and in metres: one wrong coordinate
    /// makes its own place out of reach of any shift, and not the table of all others worthless.
    ///
    /// # Errors
    /// All faults found, at most 100.
    pub fn from_coordinates(
        coordinates: &[Coordinate],
        road: RoadModel,
    ) -> Result<Self, Vec<TravelFault>> {
        let places = coordinates.len();
        check_count(places)?;
        let mut faults = Vec::new();
        for (field, value, min, max) in [
            ("road_permille", road.road_permille, 1_000, 5_000),
            ("metres_per_hour", road.metres_per_hour, 1_000, 200_000),
            ("stop_seconds", road.stop_seconds, 0, 3_600),
        ] {
            if !(min..=max).contains(&value) {
                faults.push(TravelFault::Road {
                    field,
                    value,
                    min,
                    max,
                });
            }
        }
        for (ix, place) in coordinates.iter().enumerate() {
            let on_earth = (-90.0..=90.0).contains(&place.latitude)
                && (-180.0..=180.0).contains(&place.longitude);
            if !on_earth && faults.len() < FAULTS_MAX {
                faults.push(TravelFault::Coordinate {
                    place: PlaceIx::from_ix(ix),
                });
            }
        }
        if !faults.is_empty() {
            return Err(faults);
        }
        let mut seconds = vec![0; places * places];
        let mut metres = vec![0; places * places];
        for from in 0..places {
            for to in from + 1..places {
                let straight = coordinates[from].distance_metres(coordinates[to]);
                let road_metres = straight * f64::from(road.road_permille) / 1_000.0;
                let drive = road_metres * 3_600.0 / f64::from(road.metres_per_hour);
                let drive = i64::from(whole(drive)) + i64::from(road.stop_seconds);
                let metres_long = i64::from(whole(road_metres));
                for cell in [from * places + to, to * places + from] {
                    seconds[cell] = at_most(drive, TRAVEL_SECONDS_MAX);
                    metres[cell] = at_most(metres_long, TRAVEL_METRES_MAX);
                }
            }
        }
        Ok(Self {
            places,
            seconds: seconds.into(),
            metres: metres.into(),
            pace: None,
            best_permille: 1_000,
            symmetric: true,
            columns: Arc::default(),
        })
    }

    /// The same table with a pace for each hour.
    #[must_use]
    pub fn with_pace(mut self, pace: HourPace) -> Self {
        let best = pace.0.iter().copied().max().unwrap_or(1_000);
        self.best_permille = i64::from(best).max(1_000);
        self.pace = Some(pace);
        self
    }

    /// Number of places.
    pub const fn places(&self) -> usize {
        self.places
    }

    /// The hours' paces, if they differ.
    pub const fn pace(&self) -> Option<&HourPace> {
        self.pace.as_ref()
    }

    /// Seconds from place to place at the table's own pace.
    pub fn table_seconds(&self, from: PlaceIx, to: PlaceIx) -> Seconds {
        Seconds::from(self.seconds[from.ix() * self.places + to.ix()])
    }

    /// Seconds from a place to all places at the table's own pace.
    pub(crate) fn seconds_from(&self, from: PlaceIx) -> &[u32] {
        &self.seconds[from.ix() * self.places..(from.ix() + 1) * self.places]
    }

    /// Metres from a place to all places.
    pub(crate) fn metres_from(&self, from: PlaceIx) -> &[u32] {
        &self.metres[from.ix() * self.places..(from.ix() + 1) * self.places]
    }

    /// Whether every drive is the same both ways.
    pub(crate) const fn is_symmetric(&self) -> bool {
        self.symmetric
    }

    /// The table turned over: times and distances to a place from all places, each in one stretch of memory. None when
    /// cancelled.
    pub(crate) fn turned(&self, goes_on: &impl Fn() -> Option<()>) -> Option<&Turned> {
        self.columns.of(self, goes_on)
    }

    /// Metres from place to place.
    pub fn metres(&self, from: PlaceIx, to: PlaceIx) -> i64 {
        i64::from(self.metres[from.ix() * self.places + to.ix()])
    }

    /// Seconds the drive takes when it starts at `departure`.
    pub fn drive_seconds(&self, from: PlaceIx, to: PlaceIx, departure: Seconds) -> Seconds {
        self.seconds_at(self.table_seconds(from, to), departure)
    }

    /// The seconds that a drive of so many table seconds takes when it begins at `departure`.
    pub(crate) fn seconds_at(&self, table: Seconds, departure: Seconds) -> Seconds {
        match &self.pace {
            None => table,
            Some(pace) => drive_at_pace(pace, table, departure),
        }
    }

    /// The least seconds the drive can take at any hour.
    pub fn least_seconds(&self, from: PlaceIx, to: PlaceIx) -> Seconds {
        self.least_of(self.table_seconds(from, to))
    }

    /// The least seconds that a drive of so many table seconds can take at any hour.
    pub(crate) const fn least_of(&self, table: Seconds) -> Seconds {
        // Asked in the search's inner loop, where a division counts.
        if self.best_permille == 1_000 {
            table
        } else {
            table * 1_000 / self.best_permille
        }
    }
}

/// Drives `table` seconds' worth of road from `departure`, hour by hour.
fn drive_at_pace(pace: &HourPace, table: Seconds, departure: Seconds) -> Seconds {
    const HOUR: Seconds = 3_600;
    // Road left, in thousandths of a table second.
    let mut left = table * 1_000;
    let mut now = departure;
    loop {
        let hour = now.div_euclid(HOUR);
        let permille = i64::from(pace.0[usize::try_from(hour.rem_euclid(24)).unwrap_or(0)]);
        let until_turn = (hour + 1) * HOUR - now;
        if until_turn * permille >= left {
            // The last second counts whole: arrivals are rounded up.
            return now + (left + permille - 1) / permille - departure;
        }
        left -= until_turn * permille;
        now += until_turn;
    }
}

const FAULTS_MAX: usize = 100;
const DETOURS_ALL_UP_TO: usize = 256;
const DETOURS_NEAREST: usize = 24;

fn check_count(places: usize) -> Result<(), Vec<TravelFault>> {
    match places {
        0 => Err(vec![TravelFault::NoPlaces]),
        places if places > PLACES_MAX => Err(vec![TravelFault::TooManyPlaces { places }]),
        _ => Ok(()),
    }
}

fn is_symmetric(places: usize, table: &[u32]) -> bool {
    (0..places).all(|row| {
        (0..row).all(|column| table[row * places + column] == table[column * places + row])
    })
}

fn read_table(
    places: usize,
    table: &[Option<i64>],
    max: i64,
    faults: &mut Vec<TravelFault>,
) -> Vec<u32> {
    if table.len() != places * places {
        faults.push(TravelFault::TableSize {
            places,
            entries: table.len(),
            expected: places * places,
        });
        return Vec::new();
    }
    let mut read = Vec::with_capacity(table.len());
    for (cell, &entry) in table.iter().enumerate() {
        let (from, to) = (
            PlaceIx::from_ix(cell / places),
            PlaceIx::from_ix(cell % places),
        );
        let fault = match entry {
            None => Some(TravelFault::Hole { from, to }),
            Some(value) if !(0..=max).contains(&value) => Some(TravelFault::OutOfRange {
                from,
                to,
                value,
                max,
            }),
            Some(value) if from == to && value != 0 => {
                Some(TravelFault::Loop { place: from, value })
            }
            Some(_) => None,
        };
        if let Some(fault) = fault
            && faults.len() < FAULTS_MAX
        {
            faults.push(fault);
        }
        read.push(
            entry
                .and_then(|value| u32::try_from(value).ok())
                .unwrap_or(0),
        );
    }
    read
}

fn find_detours(places: usize, seconds: &[u32], tolerance: u32, faults: &mut Vec<TravelFault>) {
    let mut near: Vec<usize> = (0..places).collect();
    for from in 0..places {
        if places > DETOURS_ALL_UP_TO {
            near = (0..places).collect();
            near.sort_unstable_by_key(|&by| (seconds[from * places + by], by));
            near.truncate(DETOURS_NEAREST);
        }
        for &by in &near {
            let first = seconds[from * places + by];
            for to in 0..places {
                let direct = seconds[from * places + to];
                let detour = first + seconds[by * places + to];
                if direct > detour.saturating_add(tolerance) {
                    faults.push(TravelFault::Triangle {
                        from: PlaceIx::from_ix(from),
                        by: PlaceIx::from_ix(by),
                        to: PlaceIx::from_ix(to),
                        direct: i64::from(direct),
                        detour: i64::from(detour),
                    });
                    if faults.len() >= FAULTS_MAX {
                        return;
                    }
                }
            }
        }
    }
}

fn at_most(value: i64, max: i64) -> u32 {
    u32::try_from(value.min(max)).unwrap_or(0)
}

/// Nearest whole number; the inputs are bounded well below `u32::MAX`.
fn whole(value: f64) -> u32 {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "bounded by half the Earth's girth"
    )]
    let rounded = value.round() as u32;
    rounded
}
