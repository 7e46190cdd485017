//! Goal: records at fault are all told, and nothing of the import is stored.
//! Method: records of a whole branch, spoilt one by one; counts and rows are compared after refusals.

use forenoon_proto::v1;
use forenoon_proto::v1::import_record::Record;
use tonic::Code;

use crate::house::{House, faults, reason};
use crate::imports::{branch, many, request, rows, send, spoil, told};
use crate::yard::{NORTH, crew as crew_of, crew_name, euros, open, unit_name};

type Spoil = fn(&mut Vec<Record>);
type Faults = &'static [(i32, &'static str, &'static str)];

const SPOILT: &[(&str, Spoil, Faults)] = &[
    (
        "a field at fault in each record",
        |records| {
            spoil!(records[0] Job as one => one.priority = 9);
            spoil!(records[1] Worker as one => one.cost_per_hour = euros(20));
            spoil!(records[2] Crew as one => one.shifts[0].end_time = None);
            spoil!(records[3] Site as one => one.areas[0].surface = None);
            spoil!(records[4] Unit as one => one.carries = None);
            spoil!(records[5] Unit as one => one.serial_number.clear());
        },
        // What refers to a record at fault is not at fault for that.
        &[
            (0, "job.priority", "OUT_OF_RANGE"),
            (1, "worker.cost_per_hour", "OTHER_CURRENCY"),
            (2, "crew.shifts[0].end_time", "REQUIRED"),
            (3, "site.areas[0].surface", "REQUIRED"),
            (4, "unit.carries", "REQUIRED"),
            (5, "unit.serial_number", "REQUIRED"),
        ],
    ),
    (
        "references to nothing",
        |records| {
            spoil!(records[0] Job as one => one.site = "branches/north/sites/none".into());
            spoil!(records[1] Worker as one => one.crew = crew_name("none"));
            spoil!(records[2] Crew as one => one.vehicle = unit_name("none"));
        },
        &[
            (0, "job.site", "UNKNOWN_REFERENCE"),
            (1, "worker.crew", "UNKNOWN_REFERENCE"),
            (2, "crew.vehicle", "UNKNOWN_REFERENCE"),
        ],
    ),
    (
        "a truck that is a trailer, and an area that is gone",
        |records| {
            spoil!(records[2] Crew as one => one.vehicle = unit_name("trailer"));
            spoil!(records[3] Site as one => { one.areas.remove(1); });
        },
        &[
            (0, "job.area_ids[1]", "UNKNOWN_REFERENCE"),
            (0, "job.tasks[1].area_id", "UNKNOWN_REFERENCE"),
            (2, "crew.vehicle", "CONFLICT"),
            (2, "crew.trailer", "DUPLICATE"),
        ],
    ),
    (
        "a serial number twice",
        |records| spoil!(records[5] Unit as one => one.serial_number = "TR-1".into()),
        &[(5, "unit.serial_number", "DUPLICATE")],
    ),
    (
        "a name twice, and a truck for two crews",
        |records| {
            records.push(records[4].clone());
            records.push(Record::Crew(v1::Crew {
                name: crew_name("b"),
                vehicle: unit_name("truck"),
                ..crew_of("B")
            }));
        },
        &[
            (6, "unit.name", "DUPLICATE"),
            (7, "crew.vehicle", "DUPLICATE"),
        ],
    ),
    (
        "names of other things",
        |records| {
            spoil!(records[0] Job as one => one.name = "branches/south/jobs/mow".into());
            spoil!(records[1] Worker as one => one.name = unit_name("piet"));
            spoil!(records[3] Site as one => one.name = "branches/north/sites/1".into());
            spoil!(records[5] Unit as one => one.name.clear());
        },
        &[
            (0, "job.name", "CONFLICT"),
            (1, "worker.name", "MALFORMED"),
            (2, "crew.trailer", "UNKNOWN_REFERENCE"),
            (3, "site.name", "MALFORMED"),
            (5, "unit.name", "REQUIRED"),
        ],
    ),
    (
        "a job without tasks at a site without areas",
        |records| {
            spoil!(records[0] Job as one => { one.tasks.clear(); one.area_ids.clear(); });
            spoil!(records[3] Site as one => { one.areas.clear(); one.hazards.clear(); });
        },
        &[(0, "job.tasks", "REQUIRED")],
    ),
];

#[tokio::test]
async fn records_at_fault_are_all_told_and_nothing_is_stored() {
    let house = House::on_sqlite().await;
    open(&house).await;
    let counts = house.counts().await;
    for (what, spoil, expected) in SPOILT {
        let mut records = branch();
        spoil(&mut records);
        let mut list: Vec<_> = expected
            .iter()
            .map(|(index, field, _)| (*index, (*field).to_owned()))
            .collect();
        list.sort();
        let mut found = told(&house, records.clone()).await;
        found.sort();
        assert_eq!(found, list, "{what}");
        let refused = send(&house, request(records)).await.expect_err(what);
        let mut details: Vec<_> = expected
            .iter()
            .map(|(index, field, reason)| {
                (format!("records[{index}].{field}"), (*reason).to_owned())
            })
            .collect();
        details.sort();
        assert_eq!(faults(&refused), details, "{what}");
        assert_eq!(rows(&house).await, [0; 5], "{what}");
        assert_eq!(house.counts().await, counts, "{what}");
    }
    let empty = v1::ImportRecordsRequest {
        parent: NORTH.into(),
        records: vec![v1::ImportRecord { record: None }],
        ..v1::ImportRecordsRequest::default()
    };
    let refused = send(&house, empty).await.expect_err("no record");
    assert_eq!(
        faults(&refused),
        [("records[0].record".to_owned(), "REQUIRED".to_owned())]
    );
}

/// Many clients take 16 KiB of headers; what does not fit is told by a call that only checks.
#[tokio::test]
async fn faults_beyond_what_a_status_holds_are_told_by_a_check() {
    let house = House::on_sqlite().await;
    open(&house).await;
    let mut records = many(500);
    for record in &mut records {
        if let Record::Job(job) = record {
            job.priority = 9;
        }
    }
    assert_eq!(told(&house, records.clone()).await.len(), 500);
    let refused = send(&house, request(records)).await.expect_err("refused");
    let first = faults(&refused);
    assert!((10..500).contains(&first.len()), "{}", first.len());
    assert!(refused.message().ends_with("and 499 more"), "{refused:?}");
    assert_eq!(rows(&house).await, [0; 5]);
}

#[tokio::test]
async fn the_request_itself_is_checked_too() {
    let house = House::on_sqlite().await;
    open(&house).await;
    let bad = v1::ImportRecordsRequest {
        parent: NORTH.into(),
        records: vec![v1::ImportRecord { record: None }; 20_001],
        validate_only: true,
        request_id: "x".into(),
    };
    let refused = send(&house, bad).await.expect_err("refused");
    assert_eq!(
        faults(&refused),
        [
            ("records".to_owned(), "TOO_MANY".to_owned()),
            ("request_id".to_owned(), "MALFORMED".to_owned())
        ]
    );
    let nowhere = v1::ImportRecordsRequest {
        parent: "branches/south".into(),
        ..v1::ImportRecordsRequest::default()
    };
    let refused = send(&house, nowhere).await.expect_err("refused");
    assert_eq!(reason(&refused), (Code::NotFound, "NOT_FOUND".into()));
    let nothing = send(&house, request(vec![])).await.expect("nothing");
    assert_eq!(nothing, v1::ImportRecordsResponse::default());
}
