//! The places of a day and the drives between them.

use std::collections::BTreeMap;

use forenoon_planner::problem::limits::{TRAVEL_METRES_MAX, TRAVEL_SECONDS_MAX};
use forenoon_planner::travel::{Coordinate, RoadModel, Travel, TravelFault, Triangle};
use forenoon_planner::{Cancel, PlaceIx, Seconds};
use forenoon_roads::{NoDrives, Roads};
use forenoon_store::entity::crew;

use crate::drives::{Drives, PlaceName};
use crate::inputs::DayInputs;

/// The places of a day: the yard first, then crews' bases and sites.
pub(crate) struct Places {
    travel: Travel,
    bases: BTreeMap<String, PlaceIx>,
    sites: BTreeMap<String, PlaceIx>,
}

/// Why there are no drives.
pub(crate) enum NoPlaces {
    /// The rule or coordinates are at fault.
    Travel(Vec<TravelFault>),
    /// Nobody waits for them any more.
    Cancelled,
}

impl From<Vec<TravelFault>> for NoPlaces {
    fn from(faults: Vec<TravelFault>) -> Self {
        Self::Travel(faults)
    }
}

impl Places {
    /// Reckons the drives by the branch's travel rule, and looks for those by road.
    ///
    /// # Errors
    /// Faults of the rule or of coordinates, which the edge keeps out of the store; and where it is cancelled.
    pub(crate) fn new(inputs: &DayInputs, cancel: &Cancel) -> Result<Self, NoPlaces> {
        let branch = &inputs.branch;
        let mut coordinates = vec![Coordinate {
            latitude: branch.yard_latitude,
            longitude: branch.yard_longitude,
        }];
        let mut names = vec![PlaceName::Yard];
        let mut add = |name, latitude, longitude| {
            names.push(name);
            coordinates.push(Coordinate {
                latitude,
                longitude,
            });
            PlaceIx::from_ix(coordinates.len() - 1)
        };
        let mut bases = BTreeMap::new();
        for crew in &inputs.crews {
            if let (Some(latitude), Some(longitude)) = (crew.base_latitude, crew.base_longitude) {
                let name = PlaceName::Base(crew.id.clone());
                bases.insert(crew.id.clone(), add(name, latitude, longitude));
            }
        }
        let sites = inputs
            .sites
            .values()
            .map(|site| {
                let name = PlaceName::Site(site.id.clone());
                (site.id.clone(), add(name, site.latitude, site.longitude))
            })
            .collect();
        let travel = Travel::from_coordinates(&coordinates, rule_of(inputs))?;
        let travel = match &inputs.roads {
            Some(roads) => {
                let stop_seconds = rule_of(inputs).stop_seconds;
                by_road(travel, &coordinates, roads, stop_seconds, cancel)?
            }
            None => travel,
        };
        let travel = if inputs.drives.places.is_empty() {
            travel
        } else {
            known_drives(&travel, &names, &inputs.drives)?
        };
        Ok(Self {
            travel,
            bases,
            sites,
        })
    }

    /// The branch's yard.
    #[expect(clippy::unused_self, reason = "asked of the places, like the others")]
    pub(crate) const fn yard(&self) -> PlaceIx {
        PlaceIx(0)
    }

    /// Where a crew begins and ends.
    pub(crate) fn base(&self, crew: &crew::Model) -> PlaceIx {
        self.bases.get(&crew.id).copied().unwrap_or(PlaceIx(0))
    }

    /// A site of the day.
    pub(crate) fn site(&self, id: &str) -> Option<PlaceIx> {
        self.sites.get(id).copied()
    }

    /// A drive.
    pub(crate) fn drive(&self, from: PlaceIx, to: PlaceIx) -> Seconds {
        self.travel.table_seconds(from, to)
    }

    /// The table of drives.
    pub(crate) fn into_travel(self) -> Travel {
        self.travel
    }
}

/// The table with drives by road, to each of which comes what the rule gives for stopping; by the rule where a place
/// lies off the roads. By the rule as a whole for a day with more places than drives by road are looked for: such a day is
/// planned with drives about right rather than not at all.
fn by_road(
    rule: Travel,
    places: &[Coordinate],
    roads: &Roads,
    stop_seconds: u32,
    cancel: &Cancel,
) -> Result<Travel, NoPlaces> {
    let drives = match roads.between(places, cancel) {
        Ok(drives) => drives,
        Err(NoDrives::TooManyPlaces { .. }) => return Ok(rule),
        Err(NoDrives::Cancelled) => return Err(NoPlaces::Cancelled),
    };
    let table = known_first(&rule, places.len(), |from, to| {
        let drive = drives.get(from * places.len() + to).copied().flatten()?;
        let stopping = if from == to { 0 } else { stop_seconds };
        let seconds = i64::from(drive.seconds) + i64::from(stopping);
        let metres = i64::from(drive.metres);
        Some((
            seconds.min(TRAVEL_SECONDS_MAX),
            metres.min(TRAVEL_METRES_MAX),
        ))
    })?;
    Ok(table)
}

/// The table with the drives that a caller knows, whose lengths are the table's.
fn known_drives(
    table: &Travel,
    names: &[PlaceName],
    drives: &Drives,
) -> Result<Travel, Vec<TravelFault>> {
    let rows: Vec<Option<usize>> = names.iter().map(|name| drives.position(name)).collect();
    known_first(table, rows.len(), |from, to| {
        let seconds = drives.between(rows[from], rows[to])?;
        let metres = table.metres(PlaceIx::from_ix(from), PlaceIx::from_ix(to));
        Some((i64::from(seconds), metres))
    })
}

/// The table with what is known of drives, in seconds and metres, in place of its own. That is taken as it is: one-way
/// streets and rounding make detours that look quicker than the direct way.
fn known_first(
    table: &Travel,
    places: usize,
    known: impl Fn(usize, usize) -> Option<(i64, i64)>,
) -> Result<Travel, Vec<TravelFault>> {
    let pairs = (0..places).flat_map(|from| (0..places).map(move |to| (from, to)));
    let (seconds, metres): (Vec<_>, Vec<_>) = pairs
        .map(|(from, to)| {
            let (seconds, metres) = known(from, to).unwrap_or_else(|| {
                let (from, to) = (PlaceIx::from_ix(from), PlaceIx::from_ix(to));
                (table.table_seconds(from, to), table.metres(from, to))
            });
            (Some(seconds), Some(metres))
        })
        .unzip();
    Travel::from_table(places, &seconds, Some(&metres), Triangle::Accept)
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "the edge holds both figures far below the type's range, and the planner checks them"
)]
fn rule_of(inputs: &DayInputs) -> RoadModel {
    let rule = inputs.branch.travel;
    RoadModel {
        road_permille: (rule.road_factor * 1_000.0).round() as u32,
        metres_per_hour: (rule.kilometres_per_hour * 1_000.0).round() as u32,
        stop_seconds: u32::try_from(rule.seconds_per_stop).unwrap_or(0),
    }
}
