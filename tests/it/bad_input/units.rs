//! Units that cannot be.

use forenoon_proto::v1::{Absence, Capability, CreateUnitRequest, Unit, UnitKind};
use forenoon_tests::actors::request_id;
use forenoon_tests::contents::Contents;
use forenoon_tests::database::Database;
use forenoon_tests::make::{dollars, inches, instant, litres, unit};
use forenoon_tests::on_both;
use forenoon_tests::refusal::refused;
use forenoon_tests::small_branch::{BRANCH, units};
use tonic::Code;

use super::{Case, check, small_branch};

on_both!(faulty_units_are_refused, a_serial_number_is_given_once);

const CASES: &[Case<CreateUnitRequest>] = &[
    Case::new("no kind", &[("unit.kind", "REQUIRED")], |request| {
        of(request).kind = 0;
    }),
    Case::new(
        "no serial number",
        &[("unit.serial_number", "REQUIRED")],
        |request| {
            of(request).serial_number.clear();
        },
    ),
    Case::new(
        "a serial number that is too long",
        &[("unit.serial_number", "TOO_LONG")],
        |request| {
            of(request).serial_number = "9".repeat(101);
        },
    ),
    Case::new(
        "noise below any engine's, and vibration below nothing",
        &[
            ("unit.noise_dba", "OUT_OF_RANGE"),
            ("unit.vibration", "OUT_OF_RANGE"),
        ],
        |request| {
            of(request).noise_dba = 12.0;
            of(request).vibration = -0.5;
        },
    ),
    Case::new(
        "an attachment without coupling",
        &[("unit.coupling", "REQUIRED")],
        |request| {
            of(request).kind = UnitKind::Attachment.into();
            of(request).cutting_width = None;
            of(request).capabilities = vec![Capability::Edger.into()];
        },
    ),
    Case::new(
        "a powerhead without coupling",
        &[("unit.coupling", "REQUIRED")],
        |request| {
            of(request).kind = UnitKind::Powerhead.into();
            of(request).cutting_width = None;
            of(request).capabilities.clear();
        },
    ),
    Case::new(
        "a mower that cannot mow",
        &[("unit.capabilities", "REQUIRED")],
        |request| of(request).capabilities.clear(),
    ),
    Case::new(
        "a mower with a coupling",
        &[("unit.coupling", "CONFLICT")],
        |request| {
            of(request).coupling = "square-26".to_owned();
        },
    ),
    Case::new(
        "a negative width",
        &[("unit.cutting_width", "OUT_OF_RANGE")],
        |request| {
            of(request).cutting_width = Some(inches(-21.0));
        },
    ),
    Case::new(
        "a width of a street",
        &[("unit.cutting_width", "OUT_OF_RANGE")],
        |request| {
            of(request).cutting_width = Some(inches(300.0));
        },
    ),
    Case::new(
        "a negative load",
        &[("unit.load_space", "OUT_OF_RANGE")],
        |request| {
            of(request).load_space = Some(litres(-1.0));
        },
    ),
    Case::new(
        "a negative slope",
        &[("unit.max_slope_percent", "OUT_OF_RANGE")],
        |request| {
            of(request).max_slope_percent = -5.0;
        },
    ),
    Case::new(
        "hours that never ran",
        &[("unit.run_hours", "OUT_OF_RANGE")],
        |request| {
            of(request).run_hours = -0.5;
        },
    ),
    Case::new(
        "money of elsewhere",
        &[("unit.purchase_price", "OTHER_CURRENCY")],
        |request| {
            let mut price = dollars(900);
            price.currency_code = "CAD".to_owned();
            of(request).purchase_price = Some(price);
        },
    ),
    Case::new(
        "an absence that ends first",
        &[("unit.absences[0].end_time", "END_BEFORE_START")],
        |request| {
            of(request).absences = vec![Absence {
                start_time: Some(instant(2_060_000_000)),
                end_time: Some(instant(2_060_000_000)),
                reason: "service".to_owned(),
            }];
        },
    ),
];

fn of(request: &mut CreateUnitRequest) -> &mut Unit {
    request.unit.as_mut().expect("a unit")
}

fn mower() -> Unit {
    let mower = units()
        .into_iter()
        .find(|unit| unit.kind() == UnitKind::WalkMower);
    Unit {
        serial_number: "LG-probe".to_owned(),
        ..mower.expect("a mower")
    }
}

async fn faulty_units_are_refused(database: Database) {
    let (_server, api) = small_branch(&database).await;
    let sound = CreateUnitRequest {
        parent: BRANCH.to_owned(),
        unit_id: "probe".to_owned(),
        unit: Some(mower()),
        request_id: request_id(),
    };
    check(&api, &sound, CASES, async |request| {
        api.units().create_unit(request).await
    })
    .await;
}

async fn a_serial_number_is_given_once(database: Database) {
    let (_server, api) = small_branch(&database).await;
    let before = Contents::of(&api, BRANCH).await;
    let taken = units().swap_remove(3).serial_number;
    let again = CreateUnitRequest {
        parent: BRANCH.to_owned(),
        unit_id: "probe".to_owned(),
        unit: Some(Unit {
            serial_number: taken,
            capabilities: vec![Capability::Rake.into()],
            ..unit(BRANCH, "probe", UnitKind::HandTool, 10.0)
        }),
        request_id: request_id(),
    };
    let refusal = refused(
        api.units().create_unit(again).await,
        "a serial number twice",
    );
    assert_eq!(refusal.code, Code::InvalidArgument, "{refusal:?}");
    assert_eq!(refusal.faults[0].field, "unit.serial_number");
    assert_eq!(refusal.faults[0].reason, "DUPLICATE");
    assert_eq!(Contents::of(&api, BRANCH).await, before);
}
