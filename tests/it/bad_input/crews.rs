//! Crews and workers that cannot be.

use forenoon_proto::v1::{CreateCrewRequest, CreateWorkerRequest, Crew, Worker};
use forenoon_tests::actors::request_id;
use forenoon_tests::database::Database;
use forenoon_tests::make::{minutes, place, shift};
use forenoon_tests::on_both;
use forenoon_tests::small_branch::{BRANCH, crews, unit_name, workers};

use super::{Case, check, small_branch};

on_both!(faulty_crews_are_refused, faulty_workers_are_refused);

const CREW_CASES: &[Case<CreateCrewRequest>] = &[
    Case::new("no name", &[("crew.display_name", "REQUIRED")], |request| {
        of(request).display_name.clear();
    }),
    Case::new(
        "shifts that overlap",
        &[("crew.shifts[1]", "OVERLAP")],
        |request| {
            of(request).shifts = vec![shift(2, (7, 0), (12, 0)), shift(2, (11, 59), (15, 0))];
        },
    ),
    Case::new(
        "a shift that ends before it starts",
        &[("crew.shifts[0].end_time", "END_BEFORE_START")],
        |request| {
            of(request).shifts = vec![shift(2, (15, 0), (7, 0))];
        },
    ),
    Case::new(
        "a shift on no day",
        &[("crew.shifts[0].day", "REQUIRED")],
        |request| {
            of(request).shifts = vec![shift(0, (7, 0), (15, 0))];
        },
    ),
    Case::new(
        "a shift at no hour",
        &[("crew.shifts[0].start_time", "OUT_OF_RANGE")],
        |request| {
            of(request).shifts = vec![shift(2, (-1, 0), (15, 0))];
        },
    ),
    Case::new(
        "too many shifts",
        &[("crew.shifts", "TOO_MANY")],
        |request| {
            of(request).shifts = vec![shift(2, (7, 0), (15, 0)); 29];
        },
    ),
    Case::new(
        "a truck that is not there",
        &[("crew.vehicle", "UNKNOWN_REFERENCE")],
        |request| {
            of(request).vehicle = unit_name("truck-9");
        },
    ),
    Case::new(
        "a truck that is a blower",
        &[("crew.vehicle", "CONFLICT")],
        |request| {
            of(request).vehicle = unit_name("blower-1");
        },
    ),
    Case::new(
        "a truck that another crew has",
        &[("crew.vehicle", "DUPLICATE")],
        |request| {
            of(request).vehicle = unit_name("truck-1");
        },
    ),
    Case::new(
        "a trailer without a truck",
        &[("crew.trailer", "CONFLICT")],
        |request| {
            of(request).vehicle.clear();
            of(request).trailer = unit_name("trailer-1");
        },
    ),
    Case::new(
        "a trailer of another branch",
        &[("crew.trailer", "UNKNOWN_REFERENCE")],
        |request| {
            of(request).trailer = "branches/elsewhere/units/trailer-1".to_owned();
        },
    ),
    Case::new(
        "a name that is none",
        &[("crew.trailer", "MALFORMED")],
        |request| {
            of(request).trailer = "trailer-1".to_owned();
        },
    ),
    Case::new(
        "a day of overtime",
        &[("crew.overtime_allowed", "OUT_OF_RANGE")],
        |request| {
            of(request).overtime_allowed = Some(minutes(8 * 60 + 1));
        },
    ),
    Case::new(
        "a negative break",
        &[("crew.break_length", "OUT_OF_RANGE")],
        |request| {
            of(request).break_length = Some(minutes(-30));
        },
    ),
    Case::new(
        "a base in no place",
        &[("crew.base.latitude", "OUT_OF_RANGE")],
        |request| {
            of(request).base = Some(place(-90.5, 0.0));
        },
    ),
];

const WORKER_CASES: &[Case<CreateWorkerRequest>] = &[
    Case::new(
        "no name",
        &[("worker.display_name", "REQUIRED")],
        |request| {
            worker(request).display_name.clear();
        },
    ),
    Case::new(
        "a crew that is not there",
        &[("worker.crew", "UNKNOWN_REFERENCE")],
        |request| {
            worker(request).crew = format!("{BRANCH}/crews/willow");
        },
    ),
    Case::new(
        "a skill in capitals",
        &[("worker.skills[0]", "MALFORMED")],
        |request| {
            worker(request).skills = vec!["Chainsaw".to_owned()];
        },
    ),
    Case::new(
        "a role that is none",
        &[("worker.roles[0]", "OUT_OF_RANGE")],
        |request| {
            worker(request).roles = vec![77];
        },
    ),
    Case::new(
        "a phone number that is too long",
        &[("worker.phone", "TOO_LONG")],
        |request| {
            worker(request).phone = "5".repeat(41);
        },
    ),
];

fn of(request: &mut CreateCrewRequest) -> &mut Crew {
    request.crew.as_mut().expect("a crew")
}

fn worker(request: &mut CreateWorkerRequest) -> &mut Worker {
    request.worker.as_mut().expect("a worker")
}

async fn faulty_crews_are_refused(database: Database) {
    let (_server, api) = small_branch(&database).await;
    // A truck that no other crew has.
    let crew = Crew {
        vehicle: unit_name("truck-3"),
        trailer: String::new(),
        ..crews().swap_remove(0)
    };
    let sound = CreateCrewRequest {
        parent: BRANCH.to_owned(),
        crew_id: "probe".to_owned(),
        crew: Some(crew),
        request_id: request_id(),
    };
    check(&api, &sound, CREW_CASES, async |request| {
        api.crews().create_crew(request).await
    })
    .await;
}

async fn faulty_workers_are_refused(database: Database) {
    let (_server, api) = small_branch(&database).await;
    let sound = CreateWorkerRequest {
        parent: BRANCH.to_owned(),
        worker_id: "probe".to_owned(),
        worker: Some(workers().swap_remove(0)),
        request_id: request_id(),
    };
    check(&api, &sound, WORKER_CASES, async |request| {
        api.crews().create_worker(request).await
    })
    .await;
}
