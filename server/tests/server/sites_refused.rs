//! Goal: a site that cannot be is refused with every fault, and leaves nothing.
//! Method: one table of spoilt sites, each tried as a new one and as a change of a sound one.

use forenoon_proto::v1;
use forenoon_proto::v1::length::Value as Long;
use forenoon_proto::v1::surface::Value as Wide;
use tonic::Code;

use crate::house::House;
use crate::yard::{
    add_site, at, change_site, clock, length, open, open_with, read_site, refused_for, site,
    surface,
};

const NAME: &str = "branches/north/sites/mill-lane";

type Spoil = fn(&mut v1::Site);
type Faults = &'static [(&'static str, &'static str)];

const SPOILT: &[(&str, Spoil, Faults)] = &[
    (
        "no name",
        |site| site.display_name.clear(),
        &[("site.display_name", "REQUIRED")],
    ),
    (
        "a blank name",
        |site| site.display_name = "  ".into(),
        &[("site.display_name", "REQUIRED")],
    ),
    (
        "texts too long",
        |site| {
            site.display_name = "n".repeat(201);
            site.customer = "n".repeat(201);
            site.address = "n".repeat(501);
            site.clippings_note = "n".repeat(501);
            site.access_note = "n".repeat(2_001);
            site.areas[0].display_name = "n".repeat(201);
            site.hazards[0].description = "n".repeat(501);
            site.contact = Some(v1::Contact {
                display_name: "n".repeat(201),
                phone: "5".repeat(41),
                email: "n".repeat(255),
            });
        },
        &[
            ("site.display_name", "TOO_LONG"),
            ("site.customer", "TOO_LONG"),
            ("site.address", "TOO_LONG"),
            ("site.clippings_note", "TOO_LONG"),
            ("site.access_note", "TOO_LONG"),
            ("site.areas[0].display_name", "TOO_LONG"),
            ("site.hazards[0].description", "TOO_LONG"),
            ("site.contact.display_name", "TOO_LONG"),
            ("site.contact.phone", "TOO_LONG"),
            ("site.contact.email", "TOO_LONG"),
        ],
    ),
    (
        "an address of two lines",
        |site| site.address = "a\nb".into(),
        &[("site.address", "MALFORMED")],
    ),
    (
        "no place",
        |site| site.location = None,
        &[("site.location", "REQUIRED")],
    ),
    (
        "open sea",
        |site| site.location = at(0.0, 0.0),
        &[("site.location", "OUT_OF_RANGE")],
    ),
    (
        "off the globe",
        |site| site.location = at(90.1, 180.1),
        &[
            ("site.location.latitude", "OUT_OF_RANGE"),
            ("site.location.longitude", "OUT_OF_RANGE"),
        ],
    ),
    (
        "no numbers",
        |site| site.location = at(f64::NAN, f64::NEG_INFINITY),
        &[
            ("site.location.latitude", "OUT_OF_RANGE"),
            ("site.location.longitude", "OUT_OF_RANGE"),
        ],
    ),
    (
        "areas with one id",
        |site| site.areas[2].area_id = "back-lawn".into(),
        &[("site.areas[2].area_id", "DUPLICATE")],
    ),
    (
        "ids of another form",
        |site| {
            site.areas[1].area_id = "The Walk".into();
            site.areas[2].area_id.clear();
            site.hazards[0].hazard_id = "1".into();
        },
        &[
            ("site.areas[1].area_id", "MALFORMED"),
            ("site.areas[2].area_id", "REQUIRED"),
            ("site.hazards[0].hazard_id", "MALFORMED"),
        ],
    ),
    (
        "sizes missing",
        |site| {
            site.areas[0].surface = None;
            site.areas[1].length = None;
            site.areas[2].surface = Some(v1::Surface { value: None });
        },
        &[
            ("site.areas[0].surface", "REQUIRED"),
            ("site.areas[1].length", "REQUIRED"),
            ("site.areas[2].surface", "REQUIRED"),
        ],
    ),
    (
        "sizes that do not belong to the kind",
        |site| {
            site.areas[0].length = length(Long::Feet(10.0));
            site.areas[1].surface = surface(Wide::SquareFeet(10.0));
        },
        &[
            ("site.areas[0].length", "CONFLICT"),
            ("site.areas[1].surface", "CONFLICT"),
        ],
    ),
    (
        "negative sizes",
        |site| {
            site.areas[0].surface = surface(Wide::SquareFeet(-4_200.0));
            site.areas[0].narrowest_gate = length(Long::Inches(-42.0));
            site.areas[0].slope_percent = -1.0;
            site.areas[1].length = length(Long::Feet(-250.0));
        },
        &[
            ("site.areas[0].surface", "OUT_OF_RANGE"),
            ("site.areas[0].narrowest_gate", "OUT_OF_RANGE"),
            ("site.areas[0].slope_percent", "OUT_OF_RANGE"),
            ("site.areas[1].length", "OUT_OF_RANGE"),
        ],
    ),
    (
        "absurdly small",
        |site| {
            site.areas[0].surface = surface(Wide::SquareFeet(0.0));
            site.areas[0].narrowest_gate = length(Long::Inches(7.0));
            site.areas[1].length = length(Long::Inches(3.9));
        },
        &[
            ("site.areas[0].surface", "OUT_OF_RANGE"),
            ("site.areas[0].narrowest_gate", "OUT_OF_RANGE"),
            ("site.areas[1].length", "OUT_OF_RANGE"),
        ],
    ),
    (
        "absurdly large",
        |site| {
            site.areas[0].surface = surface(Wide::Acres(2_472.0));
            site.areas[0].narrowest_gate = length(Long::Feet(98.5));
            site.areas[0].slope_percent = 200.1;
            site.areas[1].length = length(Long::Metres(100_001.0));
        },
        &[
            ("site.areas[0].surface", "OUT_OF_RANGE"),
            ("site.areas[0].narrowest_gate", "OUT_OF_RANGE"),
            ("site.areas[0].slope_percent", "OUT_OF_RANGE"),
            ("site.areas[1].length", "OUT_OF_RANGE"),
        ],
    ),
    (
        "no numbers for sizes",
        |site| {
            site.areas[0].surface = surface(Wide::Acres(f64::NAN));
            site.areas[0].slope_percent = f64::NAN;
            site.areas[1].length = length(Long::Metres(f64::INFINITY));
        },
        &[
            ("site.areas[0].surface", "OUT_OF_RANGE"),
            ("site.areas[0].slope_percent", "OUT_OF_RANGE"),
            ("site.areas[1].length", "OUT_OF_RANGE"),
        ],
    ),
    (
        "words there are not",
        |site| {
            site.clippings = 9;
            site.areas[0].kind = 0;
            site.areas[1].kind = 9;
            site.areas[2].obstacles = -1;
            site.areas[2].shape = 9;
        },
        &[
            ("site.clippings", "OUT_OF_RANGE"),
            ("site.areas[0].kind", "REQUIRED"),
            ("site.areas[1].kind", "OUT_OF_RANGE"),
            ("site.areas[2].obstacles", "OUT_OF_RANGE"),
            ("site.areas[2].shape", "OUT_OF_RANGE"),
        ],
    ),
    (
        "hazards",
        |site| {
            let pipe = site.hazards[0].clone();
            site.hazards[0].description.clear();
            site.hazards[0].location = at(0.0, 0.0);
            site.hazards[0].area_id = "front-lawn".into();
            site.hazards.push(pipe);
        },
        &[
            ("site.hazards[0].description", "REQUIRED"),
            ("site.hazards[0].location", "OUT_OF_RANGE"),
            ("site.hazards[0].area_id", "UNKNOWN_REFERENCE"),
            ("site.hazards[1].hazard_id", "DUPLICATE"),
        ],
    ),
    (
        "a time of day there is not",
        |site| site.quiet_until = clock(24, 1),
        &[("site.quiet_until", "OUT_OF_RANGE")],
    ),
    (
        "too many parts",
        |site| {
            let area = |index| v1::Area {
                area_id: format!("a-{index}"),
                ..site.areas[0].clone()
            };
            let hazard = |index| v1::Hazard {
                hazard_id: format!("h-{index}"),
                area_id: String::new(),
                ..site.hazards[0].clone()
            };
            let hazards = (0..201).map(hazard).collect();
            site.areas = (0..201).map(area).collect();
            site.hazards = hazards;
        },
        &[("site.areas", "TOO_MANY"), ("site.hazards", "TOO_MANY")],
    ),
];

#[tokio::test]
async fn bad_sites_are_refused_with_every_fault_and_leave_nothing() {
    let house = House::on_sqlite().await;
    open(&house).await;
    let sound = add_site(&house, "mill-lane", site())
        .await
        .expect("created");
    let before = house.counts().await;
    for (what, spoil, expected) in SPOILT {
        let mut spoilt = sound.clone();
        spoil(&mut spoilt);
        refused_for(
            add_site(&house, "spoilt", spoilt.clone()).await,
            what,
            expected,
        );
        refused_for(change_site(&house, spoilt, &[]).await, what, expected);
        assert_eq!(house.counts().await, before, "{what}");
    }
    assert_eq!(read_site(&house, NAME).await.expect("read"), sound);
    let spoilt = read_site(&house, "branches/north/sites/spoilt").await;
    assert_eq!(
        spoilt.expect_err("was never created").code(),
        Code::NotFound
    );
}

#[tokio::test]
async fn sizes_at_their_bounds_are_taken() {
    let house = House::on_sqlite().await;
    open_with(&house, v1::UnitSystem::Si).await;
    for (id, square_metres, metres, gate) in
        [("least", 0.09, 0.1, 200.0), ("most", 1e7, 1e5, 30_000.0)]
    {
        let mut bound = site();
        bound.areas[0].surface = surface(Wide::SquareMetres(square_metres));
        bound.areas[0].narrowest_gate = length(Long::Millimetres(gate));
        bound.areas[1].length = length(Long::Metres(metres));
        let stored = add_site(&house, id, bound.clone()).await.expect("taken");
        assert_eq!(stored.areas[0], bound.areas[0]);
        assert_eq!(stored.areas[1], bound.areas[1]);
    }
}
