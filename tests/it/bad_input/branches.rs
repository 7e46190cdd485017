//! Branches that cannot be.

use forenoon_proto::v1::{Branch, CreateBranchRequest, ExposureRule};
use forenoon_tests::actors::request_id;
use forenoon_tests::database::Database;
use forenoon_tests::make::place;
use forenoon_tests::on_both;
use forenoon_tests::small_branch::branch;

use super::{Case, check, small_branch};

on_both!(faulty_branches_are_refused);

const CASES: &[Case<CreateBranchRequest>] = &[
    Case::new("no id", &[("branch_id", "REQUIRED")], |request| {
        request.branch_id.clear();
    }),
    Case::new(
        "an id in capitals",
        &[("branch_id", "MALFORMED")],
        |request| {
            request.branch_id = "South".to_owned();
        },
    ),
    Case::new(
        "an id that is too long",
        &[("branch_id", "MALFORMED")],
        |request| {
            request.branch_id = "s".repeat(64);
        },
    ),
    Case::new(
        "no name",
        &[("branch.display_name", "REQUIRED")],
        |request| {
            of(request).display_name.clear();
        },
    ),
    Case::new(
        "a name that is too long",
        &[("branch.display_name", "TOO_LONG")],
        |request| {
            of(request).display_name = "ä".repeat(201);
        },
    ),
    Case::new(
        "a zone of nowhere",
        &[("branch.time_zone", "MALFORMED")],
        |request| {
            of(request).time_zone = "America/Larkmoor".to_owned();
        },
    ),
    Case::new(
        "no currency",
        &[("branch.currency_code", "REQUIRED")],
        |request| {
            of(request).currency_code.clear();
        },
    ),
    Case::new(
        "an unknown currency",
        &[("branch.currency_code", "MALFORMED")],
        |request| {
            of(request).currency_code = "ABC".to_owned();
            of(request).price = None;
        },
    ),
    Case::new("no yard", &[("branch.yard", "REQUIRED")], |request| {
        of(request).yard = None;
    }),
    Case::new(
        "a yard beyond the pole",
        &[("branch.yard.latitude", "OUT_OF_RANGE")],
        |request| {
            of(request).yard = Some(place(90.001, -92.8));
        },
    ),
    Case::new(
        "a yard nowhere",
        &[("branch.yard.longitude", "OUT_OF_RANGE")],
        |request| {
            of(request).yard = Some(place(41.2, f64::NAN));
        },
    ),
    Case::new(
        "roads shorter than straight",
        &[("branch.travel.road_factor", "OUT_OF_RANGE")],
        |request| {
            of(request).travel.as_mut().expect("a rule").road_factor = 0.9;
        },
    ),
    Case::new(
        "a speed backwards",
        &[("branch.travel.kilometres_per_hour", "OUT_OF_RANGE")],
        |request| {
            of(request)
                .travel
                .as_mut()
                .expect("a rule")
                .kilometres_per_hour = -40.0;
        },
    ),
    Case::new(
        "an absurd stop",
        &[("branch.travel.seconds_per_stop", "OUT_OF_RANGE")],
        |request| {
            of(request)
                .travel
                .as_mut()
                .expect("a rule")
                .seconds_per_stop = 3_601;
        },
    ),
    Case::new(
        "money of elsewhere",
        &[("branch.price.minimum_charge", "OTHER_CURRENCY")],
        |request| {
            let price = of(request).price.as_mut().expect("a rule");
            price.minimum_charge.as_mut().expect("money").currency_code = "EUR".to_owned();
        },
    ),
    Case::new(
        "a negative margin",
        &[("branch.price.margin_basis_points", "OUT_OF_RANGE")],
        |request| {
            of(request)
                .price
                .as_mut()
                .expect("a rule")
                .margin_basis_points = -1;
        },
    ),
    Case::new(
        "acting on noise above its limit",
        &[("branch.exposure.noise_action_percent", "CONFLICT")],
        |request| {
            of(request).exposure = Some(ExposureRule {
                noise_action_percent: 80.0,
                noise_limit_percent: 60.0,
                ..ExposureRule::default()
            });
        },
    ),
    Case::new(
        "hearing protection beyond any, and a vibration limit below zero",
        &[
            (
                "branch.exposure.hearing_protection_decibels",
                "OUT_OF_RANGE",
            ),
            ("branch.exposure.vibration_limit", "OUT_OF_RANGE"),
        ],
        |request| {
            of(request).exposure = Some(ExposureRule {
                hearing_protection_decibels: 40.5,
                vibration_limit: -1.0,
                ..ExposureRule::default()
            });
        },
    ),
    Case::new(
        "an unknown unit system",
        &[("branch.unit_system", "OUT_OF_RANGE")],
        |request| {
            of(request).unit_system = 99;
        },
    ),
    Case::new(
        "a request id that is none",
        &[("request_id", "MALFORMED")],
        |request| {
            request.request_id = "once more".to_owned();
        },
    ),
    Case::new(
        "two faults at once",
        &[
            ("branch.display_name", "REQUIRED"),
            ("branch.yard.latitude", "OUT_OF_RANGE"),
        ],
        |request| {
            of(request).display_name.clear();
            of(request).yard = Some(place(-91.0, 0.0));
        },
    ),
];

fn of(request: &mut CreateBranchRequest) -> &mut Branch {
    request.branch.as_mut().expect("a branch")
}

async fn faulty_branches_are_refused(database: Database) {
    let (_server, api) = small_branch(&database).await;
    let sound = CreateBranchRequest {
        branch_id: "south".to_owned(),
        branch: Some(branch()),
        request_id: request_id(),
    };
    check(&api, &sound, CASES, async |request| {
        api.branches().create_branch(request).await
    })
    .await;
}
