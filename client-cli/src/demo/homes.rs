//! Weekly mowing of homes: the bulk of the day.

use forenoon_proto::v1::{
    Area, AreaShape, Clippings, DayTimeWindow, Hazard, Job, Obstacles, Site, SiteCondition,
    TurfDensity,
};

use super::areas::{edge, hazard, paved, turf};
use super::book::Book;
use super::dice::{Dice, Stream};
use super::measure::{hours, inches, window};
use super::people::Names;
use super::town::{Home, QUARTERS, address, home};

/// Homes on the weekly round.
const HOMES: u32 = 62;

/// What is particular about a home. Counted out, not drawn: every seed has its narrow gates and its banks.
struct Traits {
    /// Clear width of the gate to the back, inches.
    gate_inches: Option<f64>,
    /// A bank in front, its slope in percent.
    bank_percent: Option<f64>,
    clippings: Clippings,
    dog: bool,
    times: Vec<DayTimeWindow>,
    /// Days after the first on which it may still be done.
    days_after: u64,
}

impl Traits {
    fn of(number: u32, dice: &mut Dice) -> Self {
        let gate_inches = match number % 20 {
            // A 36 in deck does not pass 34 in; a 30 in deck does.
            3 | 10 | 17 => Some(34.0),
            13 => Some(25.0),
            _ => None,
        };
        let bank_percent = (number % 10 == 5).then(|| f64::from(dice.between(18, 32)));
        let clippings = match number % 9 {
            2 => Clippings::TakeAway,
            6 => Clippings::CustomerHeap,
            _ => Clippings::MayLie,
        };
        let times = match number % 9 {
            4 => vec![hours((8, 0), (12, 0))],
            7 => vec![hours((12, 0), (17, 0))],
            _ => Vec::new(),
        };
        let days_after = if number.is_multiple_of(4) { 2 } else { 0 };
        Self {
            gate_inches,
            bank_percent,
            clippings,
            dog: number % 7 == 1,
            times,
            days_after,
        }
    }
}

/// Writes the homes and their weekly jobs, and gives the ids of the sites.
pub(super) fn write(book: &mut Book, names: &mut Names, seed: u64) -> Vec<String> {
    let mut dice = Dice::new(seed, Stream::Homes);
    let quarters = QUARTERS.iter().cycle();
    let mut ids = Vec::new();
    for (number, quarter) in (0..HOMES).zip(quarters) {
        let place = home(quarter, number / 8, &mut dice);
        let traits = Traits::of(number, &mut dice);
        let id = place.id.clone();
        let job = job(book, &place, &traits, &mut dice);
        let site = site(book, &place, &traits, names.next(), &mut dice);
        book.site(&id, site);
        book.job(&format!("mow-{id}"), &id, job);
        ids.push(id);
    }
    ids
}

fn site(book: &mut Book, place: &Home, traits: &Traits, customer: String, dice: &mut Dice) -> Site {
    let areas = areas(traits, dice);
    let hazards = hazards(traits, dice);
    let (clippings_note, heap) = match traits.clippings {
        Clippings::CustomerHeap => (
            "heap behind the shed",
            " Rake and barrow stand by the heap.",
        ),
        Clippings::TakeAway => ("bags go aboard, none stay at the curb", ""),
        Clippings::MayLie | Clippings::Unspecified => ("", ""),
    };
    let access = match (traits.gate_inches, traits.dog) {
        (Some(gate), true) => {
            format!("Back gate {gate} in clear, latch inside. Dog in the yard: ring first.")
        }
        (Some(gate), false) => format!("Back gate {gate} in clear; leave it latched."),
        (None, true) => "Dog in the yard: ring first, close the gate behind you.".to_owned(),
        (None, false) => "Open to the street.".to_owned(),
    };
    Site {
        display_name: place.street.clone(),
        contact: book.contact(&customer),
        customer,
        address: format!("{} ({})", address(&place.street), place.quarter),
        location: place.location,
        areas,
        hazards,
        clippings: traits.clippings.into(),
        clippings_note: clippings_note.to_owned(),
        access_note: format!("{access}{heap}"),
        ..Site::default()
    }
}

fn areas(traits: &Traits, dice: &mut Dice) -> Vec<Area> {
    let obstacles = *dice.one_of(&[
        Obstacles::None,
        Obstacles::Few,
        Obstacles::Few,
        Obstacles::Many,
    ]);
    let shape = *dice.one_of(&[AreaShape::Ordinary, AreaShape::Ordinary, AreaShape::Broken]);
    let back_size = if traits.gate_inches.is_some_and(|gate| gate < 30.0) {
        dice.stepped(1_200, 2_400, 100)
    } else {
        dice.stepped(2_400, 6_000, 100)
    };
    let mut areas = vec![
        turf("front", "front lawn", dice.stepped(1_600, 3_800, 100)),
        Area {
            narrowest_gate: traits.gate_inches.and_then(inches),
            obstacles: obstacles.into(),
            shape: shape.into(),
            ..turf("back", "back lawn", back_size)
        },
        edge("curb", "drive and walk", dice.stepped(90, 260, 10)),
        paved("drive", "drive and walk", dice.stepped(500, 1_200, 50)),
    ];
    if let Some(slope_percent) = traits.bank_percent {
        areas.push(Area {
            slope_percent,
            ..turf("bank", "front bank", dice.stepped(500, 1_100, 50))
        });
    }
    areas
}

fn hazards(traits: &Traits, dice: &mut Dice) -> Vec<Hazard> {
    let mut hazards = Vec::new();
    if traits.dog {
        hazards.push(hazard(
            "dog",
            "back",
            "Dog, friendly but loose in the back yard.",
        ));
    }
    if traits.bank_percent.is_some() {
        hazards.push(hazard(
            "bank",
            "bank",
            "Bank above the sidewalk: keep clear of the edge, never mow it wet.",
        ));
    }
    if dice.between(0, 2) == 0 {
        let (id, area, words) = *dice.one_of(&[
            (
                "heads",
                "front",
                "Irrigation heads along the walk, flush with the turf.",
            ),
            (
                "cap",
                "back",
                "Old well cap under the maple: iron ring, sits proud.",
            ),
            (
                "pane",
                "back",
                "Glass patio door; stones thrown from the bed reach it.",
            ),
            (
                "gravel",
                "front",
                "Gravel strip along the drive: no blade over it.",
            ),
            ("line", "back", "Gas riser at the house corner, no guard."),
        ]);
        hazards.push(hazard(id, area, words));
    }
    hazards
}

fn job(book: &Book, place: &Home, traits: &Traits, dice: &mut Dice) -> Job {
    let density = *dice.one_of(&[
        TurfDensity::Thin,
        TurfDensity::Ordinary,
        TurfDensity::Ordinary,
        TurfDensity::Thick,
    ]);
    Job {
        display_name: format!("Weekly mow, {}", place.street),
        condition: Some(SiteCondition {
            turf_height: inches(dice.stepped(35, 45, 5) / 10.0),
            set_height: inches(3.0),
            turf_density: density.into(),
            ..SiteCondition::default()
        }),
        windows: vec![window(
            book.first_day,
            traits.days_after,
            traits.times.clone(),
        )],
        priority: if traits.days_after == 0 { 3 } else { 2 },
        ..Job::default()
    }
}
