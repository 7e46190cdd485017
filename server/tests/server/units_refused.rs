//! Goal: a unit that cannot be is refused with every fault, and leaves nothing.
//! Method: one table of spoilt units, each tried as a new one and as a change of a sound one.

use forenoon_proto::v1;
use forenoon_proto::v1::Capability as Can;
use forenoon_proto::v1::length::Value as Long;
use forenoon_proto::v1::volume::Value as Room;

use crate::house::{House, faults};
use crate::yard::{
    add_unit, blower, change_unit, edger, euros, length, mower, open, open_with, powerhead,
    read_unit, refused_for, trailer, truck, unit_name, volume,
};

struct Case {
    what: &'static str,
    sound: fn(&str) -> v1::Unit,
    spoil: fn(&mut v1::Unit),
    expected: &'static [(&'static str, &'static str)],
}

const fn case(
    what: &'static str,
    sound: fn(&str) -> v1::Unit,
    spoil: fn(&mut v1::Unit),
    expected: &'static [(&'static str, &'static str)],
) -> Case {
    Case {
        what,
        sound,
        spoil,
        expected,
    }
}

const CASES: &[Case] = &[
    case(
        "nothing said",
        mower,
        |unit| {
            *unit = v1::Unit {
                name: unit.name.clone(),
                ..v1::Unit::default()
            }
        },
        &[
            ("unit.display_name", "REQUIRED"),
            ("unit.serial_number", "REQUIRED"),
            ("unit.kind", "REQUIRED"),
        ],
    ),
    case(
        "texts too long",
        mower,
        |unit| {
            unit.display_name = "n".repeat(201);
            unit.serial_number = "n".repeat(101);
            unit.model = "n".repeat(201);
            unit.absences[0].reason = "n".repeat(201);
        },
        &[
            ("unit.display_name", "TOO_LONG"),
            ("unit.serial_number", "TOO_LONG"),
            ("unit.model", "TOO_LONG"),
            ("unit.absences[0].reason", "TOO_LONG"),
        ],
    ),
    case(
        "a serial number with a blank behind it",
        mower,
        |unit| unit.serial_number.push(' '),
        &[("unit.serial_number", "MALFORMED")],
    ),
    case(
        "words there are not",
        mower,
        |unit| {
            unit.kind = 99;
            unit.capabilities = vec![0, 99];
        },
        &[
            ("unit.kind", "OUT_OF_RANGE"),
            ("unit.capabilities[0]", "REQUIRED"),
            ("unit.capabilities[1]", "OUT_OF_RANGE"),
        ],
    ),
    case(
        "a capability twice",
        blower,
        |unit| unit.capabilities.push(Can::Blower.into()),
        &[("unit.capabilities[1]", "DUPLICATE")],
    ),
    case(
        "a powerhead without coupling",
        powerhead,
        |unit| unit.coupling.clear(),
        &[("unit.coupling", "REQUIRED")],
    ),
    case(
        "a powerhead that edges by itself",
        powerhead,
        |unit| unit.capabilities.push(Can::Edger.into()),
        &[("unit.capabilities[0]", "CONFLICT")],
    ),
    case(
        "an attachment without coupling and capability",
        edger,
        |unit| {
            unit.coupling.clear();
            unit.capabilities.clear();
        },
        &[
            ("unit.coupling", "REQUIRED"),
            ("unit.capabilities", "REQUIRED"),
        ],
    ),
    case(
        "a coupling of another spelling",
        edger,
        |unit| unit.coupling = "Square 26".into(),
        &[("unit.coupling", "MALFORMED")],
    ),
    case(
        "a coupling too long",
        edger,
        |unit| unit.coupling = "s".repeat(64),
        &[("unit.coupling", "TOO_LONG")],
    ),
    case(
        "a coupling on a mower",
        mower,
        |unit| unit.coupling = "square-26".into(),
        &[("unit.coupling", "CONFLICT")],
    ),
    case(
        "a mower that does not mow, without a width",
        mower,
        |unit| {
            unit.capabilities = vec![Can::Edger.into()];
            unit.cutting_width = None;
            unit.bag = None;
        },
        &[
            ("unit.capabilities", "REQUIRED"),
            ("unit.capabilities[0]", "CONFLICT"),
            ("unit.cutting_width", "REQUIRED"),
        ],
    ),
    case(
        "a bag on a mower that does not collect",
        mower,
        |unit| unit.capabilities = vec![Can::Mower.into()],
        &[("unit.bag", "CONFLICT")],
    ),
    case(
        "a blower that mows and carries",
        blower,
        |unit| {
            unit.capabilities = vec![Can::Mower.into(), Can::Carrier.into()];
            unit.cutting_width = length(Long::Inches(36.0));
            unit.carries = volume(Room::Litres(10.0));
        },
        &[
            ("unit.capabilities", "REQUIRED"),
            ("unit.capabilities[0]", "CONFLICT"),
            ("unit.capabilities[1]", "CONFLICT"),
            ("unit.cutting_width", "CONFLICT"),
            ("unit.carries", "CONFLICT"),
        ],
    ),
    case(
        "a truck that carries nobody knows what",
        truck,
        |unit| {
            unit.capabilities.clear();
            unit.carries = None;
        },
        &[
            ("unit.capabilities", "REQUIRED"),
            ("unit.carries", "REQUIRED"),
        ],
    ),
    case(
        "a trailer without its capability",
        trailer,
        |unit| unit.capabilities = vec![Can::Rake.into()],
        &[
            ("unit.capabilities", "REQUIRED"),
            ("unit.capabilities[0]", "CONFLICT"),
        ],
    ),
    case(
        "negative",
        mower,
        |unit| {
            unit.cutting_width = length(Long::Inches(-36.0));
            unit.machine_width = length(Long::Inches(-38.0));
            unit.max_slope_percent = -1.0;
            unit.load_space = volume(Room::Litres(-1.0));
            unit.bag = volume(Room::CubicFeet(-0.1));
            unit.run_hours = -0.1;
            unit.service_interval_hours = -50.0;
        },
        &[
            ("unit.cutting_width", "OUT_OF_RANGE"),
            ("unit.machine_width", "OUT_OF_RANGE"),
            ("unit.max_slope_percent", "OUT_OF_RANGE"),
            ("unit.load_space", "OUT_OF_RANGE"),
            ("unit.bag", "OUT_OF_RANGE"),
            ("unit.run_hours", "OUT_OF_RANGE"),
            ("unit.service_interval_hours", "OUT_OF_RANGE"),
        ],
    ),
    case(
        "beyond what there is",
        mower,
        |unit| {
            unit.cutting_width = length(Long::Feet(20.01));
            unit.machine_width = length(Long::Metres(6.1));
            unit.max_slope_percent = 200.5;
            unit.load_space = volume(Room::Litres(200_001.0));
            unit.bag = volume(Room::Litres(5_000.1));
            unit.run_hours = 1_000_001.0;
            unit.service_interval_hours = 100_001.0;
        },
        &[
            ("unit.cutting_width", "OUT_OF_RANGE"),
            ("unit.machine_width", "OUT_OF_RANGE"),
            ("unit.max_slope_percent", "OUT_OF_RANGE"),
            ("unit.load_space", "OUT_OF_RANGE"),
            ("unit.bag", "OUT_OF_RANGE"),
            ("unit.run_hours", "OUT_OF_RANGE"),
            ("unit.service_interval_hours", "OUT_OF_RANGE"),
        ],
    ),
    case(
        "too narrow, and no numbers",
        mower,
        |unit| {
            unit.cutting_width = length(Long::Inches(9.9));
            unit.machine_width = length(Long::Millimetres(99.0));
            unit.max_slope_percent = f64::NAN;
            unit.load_space = volume(Room::Litres(f64::INFINITY));
            unit.run_hours = f64::NAN;
        },
        &[
            ("unit.cutting_width", "OUT_OF_RANGE"),
            ("unit.machine_width", "OUT_OF_RANGE"),
            ("unit.max_slope_percent", "OUT_OF_RANGE"),
            ("unit.load_space", "OUT_OF_RANGE"),
            ("unit.run_hours", "OUT_OF_RANGE"),
        ],
    ),
    case(
        "another currency",
        mower,
        |unit| unit.purchase_price = euros(5_000),
        &[("unit.purchase_price", "OTHER_CURRENCY")],
    ),
    case(
        "absences that end before or as they start, or say not when",
        mower,
        |unit| {
            let first = unit.absences[0].clone();
            let turned = v1::Absence {
                start_time: first.end_time,
                end_time: first.start_time,
                ..first.clone()
            };
            let moment = v1::Absence {
                end_time: first.start_time,
                ..first.clone()
            };
            unit.absences = vec![first, turned, moment, v1::Absence::default()];
        },
        &[
            ("unit.absences[1].end_time", "END_BEFORE_START"),
            ("unit.absences[2].end_time", "END_BEFORE_START"),
            ("unit.absences[3].start_time", "REQUIRED"),
            ("unit.absences[3].end_time", "REQUIRED"),
        ],
    ),
    case(
        "too many absences",
        mower,
        |unit| unit.absences = vec![unit.absences[0].clone(); 201],
        &[("unit.absences", "TOO_MANY")],
    ),
];

#[tokio::test]
async fn bad_units_are_refused_with_every_fault_and_leave_nothing() {
    let house = House::on_sqlite().await;
    open(&house).await;
    for (index, case) in CASES.iter().enumerate() {
        let what = case.what;
        let id = format!("unit-{index}");
        let sound = (case.sound)(&format!("LG-{index}"));
        let sound = add_unit(&house, &id, sound).await.expect(what);
        let before = house.counts().await;
        let mut spoilt = sound.clone();
        (case.spoil)(&mut spoilt);
        let outcome = change_unit(&house, spoilt.clone(), &[]).await;
        refused_for(outcome, what, case.expected);
        let outcome = add_unit(&house, "spoilt", spoilt).await;
        refused_for(outcome, what, case.expected);
        assert_eq!(house.counts().await, before, "{what}");
        let read = read_unit(&house, &unit_name(&id)).await.expect(what);
        assert_eq!(read, sound, "{what}");
    }
}

#[tokio::test]
async fn a_change_of_kind_alone_is_judged_by_the_whole_unit() {
    let house = House::on_sqlite().await;
    open(&house).await;
    let before = add_unit(&house, "mower", mower("LG-1"))
        .await
        .expect("created");
    let turned = v1::Unit {
        kind: v1::UnitKind::Blower.into(),
        ..before.clone()
    };
    refused_for(
        change_unit(&house, turned, &["kind"]).await,
        "a blower that was a mower",
        &[
            ("unit.capabilities", "REQUIRED"),
            ("unit.capabilities[0]", "CONFLICT"),
            ("unit.cutting_width", "CONFLICT"),
        ],
    );
    let read = read_unit(&house, &unit_name("mower")).await;
    assert_eq!(read.expect("read"), before);
}

#[tokio::test]
async fn measures_at_their_bounds_are_taken() {
    let house = House::on_sqlite().await;
    open_with(&house, v1::UnitSystem::Si).await;
    for (id, cut, wide, slope, space, bag, hours) in [
        ("least", 254.0, 100.0, 0.0, 0.1, 5.0, 0.0),
        ("most", 6_096.0, 6_096.0, 200.0, 2e5, 5e3, 1e6),
    ] {
        let bound = v1::Unit {
            cutting_width: length(Long::Millimetres(cut)),
            machine_width: length(Long::Millimetres(wide)),
            max_slope_percent: slope,
            load_space: volume(Room::Litres(space)),
            bag: volume(Room::Litres(bag)),
            run_hours: hours,
            ..mower(id)
        };
        let stored = add_unit(&house, id, bound.clone()).await.expect("taken");
        let expected = v1::Unit {
            name: stored.name.clone(),
            state: stored.state,
            etag: stored.etag.clone(),
            create_time: stored.create_time,
            update_time: stored.update_time,
            ..bound
        };
        assert_eq!(stored, expected);
    }
    // No bag may be said in two ways; one too small to be a bag is a slip of the pen.
    let with_bag = |id: &str, litres| v1::Unit {
        bag: volume(Room::Litres(litres)),
        ..mower(id)
    };
    let stored = add_unit(&house, "none", with_bag("none", 0.0)).await;
    assert_eq!(stored.expect("taken").bag, None);
    let refused = add_unit(&house, "cup", with_bag("cup", 4.9)).await;
    assert_eq!(
        faults(&refused.expect_err("refused")),
        [("unit.bag".to_owned(), "OUT_OF_RANGE".to_owned())]
    );
    // A truck for people alone says so, and is answered so.
    let empty = v1::Unit {
        carries: volume(Room::Litres(0.0)),
        ..truck("LG-1")
    };
    let stored = add_unit(&house, "bus", empty.clone()).await.expect("taken");
    assert_eq!(stored.carries, empty.carries);
}
