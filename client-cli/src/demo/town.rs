//! The town of Larkmoor: quarters, streets and house numbers, all invented.

use forenoon_proto::google::r#type::LatLng;

use super::dice::Dice;
use super::measure::place;

/// A part of town, its middle told from the yard.
pub(super) struct Quarter {
    pub(super) name: &'static str,
    east_km: f64,
    north_km: f64,
    streets: [&'static str; 4],
}

pub(super) const QUARTERS: [Quarter; 8] = [
    Quarter {
        name: "Kiln Hill",
        east_km: -1.8,
        north_km: 2.6,
        streets: [
            "Clinker Street",
            "Ember Walk",
            "Hodman Lane",
            "Slipware Road",
        ],
    },
    Quarter {
        name: "Marl Row",
        east_km: 0.9,
        north_km: 1.4,
        streets: [
            "Marl Row",
            "Plumbline Street",
            "Trowel Court",
            "Weir Street",
        ],
    },
    Quarter {
        name: "Tern Hollow",
        east_km: 3.4,
        north_km: 2.9,
        streets: [
            "Eggshell Lane",
            "Reedmace Way",
            "Tern Hollow Road",
            "Wader Close",
        ],
    },
    Quarter {
        name: "Ostler Green",
        east_km: 2.1,
        north_km: -0.8,
        streets: [
            "Bridle Street",
            "Farrier Lane",
            "Halter Court",
            "Ostler Street",
        ],
    },
    Quarter {
        name: "Quarry Bend",
        east_km: -3.3,
        north_km: 0.4,
        streets: [
            "Dressed Stone Road",
            "Plug and Feather Lane",
            "Quarry Bend",
            "Spall Street",
        ],
    },
    Quarter {
        name: "Fennel Flats",
        east_km: 0.3,
        north_km: -2.5,
        streets: [
            "Caraway Street",
            "Fennel Street",
            "Lovage Lane",
            "Tansy Lane",
        ],
    },
    Quarter {
        name: "Upper Larkmoor",
        east_km: -2.2,
        north_km: -1.9,
        streets: [
            "Cairn Street",
            "Lark Rise Way",
            "Skylight Road",
            "Turf Street",
        ],
    },
    Quarter {
        name: "Siding End",
        east_km: 4.3,
        north_km: -2.2,
        streets: [
            "Coupler Street",
            "Points Lane",
            "Siding Road",
            "Timber Baulk Way",
        ],
    },
];

/// Where a home stands.
pub(super) struct Home {
    /// The id of its site, as `tansy-lane-14`.
    pub(super) id: String,
    /// Street and number, as `14 Tansy Lane`.
    pub(super) street: String,
    pub(super) quarter: &'static str,
    pub(super) location: Option<LatLng>,
}

/// A home in a quarter. `index` counts the homes of that quarter: it picks the street, so that two homes on one
/// street have numbers far apart and never the same.
pub(super) fn home(quarter: &'static Quarter, index: u32, dice: &mut Dice) -> Home {
    let street = quarter
        .streets
        .iter()
        .cycle()
        .nth(usize::try_from(index).unwrap_or(0))
        .copied()
        .unwrap_or_default();
    let number = index / 4 * 40 + 2 * dice.between(1, 19);
    let scatter = |dice: &mut Dice| (f64::from(dice.between(0, 1_400)) - 700.0) / 1_000.0;
    let (east, north) = (scatter(dice), scatter(dice));
    Home {
        id: format!("{}-{number}", street.to_lowercase().replace(' ', "-")),
        street: format!("{number} {street}"),
        quarter: quarter.name,
        location: place(quarter.east_km + east, quarter.north_km + north),
    }
}

/// A postal address in the town.
pub(super) fn address(street: &str) -> String {
    format!("{street}, Larkmoor, Tamsin County")
}
