//! Goal: an import stores all of its records or none, tells every fault, and is done once.
//! Method: records of a whole branch, spoilt one by one; counts and rows are compared after refusals.

use std::time::{Duration, Instant};

use forenoon_proto::v1;
use forenoon_proto::v1::import_record::Record;
use forenoon_proto::v1::import_service_client::ImportServiceClient;
use forenoon_store::entity::{crew, job as job_row, site as site_row, unit, worker as worker_row};
use forenoon_store::sea_orm::{EntityTrait, PaginatorTrait};
use tonic::{Code, Status};

use crate::booking::{JOB, SITE, bare, cancel_job, day, job, read_job};
use crate::house::{House, faults, on_both, reason};
use crate::rows::execute;
use crate::yard::{
    NORTH, crew as crew_of, crew_name, euros, in_crew, mower, open, read_site, read_unit, site,
    trailer, truck, unit_name, worker, worker_name,
};

fn record(record: Record) -> v1::ImportRecord {
    v1::ImportRecord {
        record: Some(record),
    }
}

fn request(records: Vec<Record>) -> v1::ImportRecordsRequest {
    v1::ImportRecordsRequest {
        parent: NORTH.into(),
        records: records.into_iter().map(record).collect(),
        ..v1::ImportRecordsRequest::default()
    }
}

async fn send(
    house: &House,
    request: v1::ImportRecordsRequest,
) -> Result<v1::ImportRecordsResponse, Status> {
    let mut client = ImportServiceClient::new(house.channel());
    Ok(client.import_records(request).await?.into_inner())
}

/// Every fault as a call that only checks tells it.
async fn told(house: &House, records: Vec<Record>) -> Vec<(i32, String)> {
    let only_check = v1::ImportRecordsRequest {
        validate_only: true,
        ..request(records)
    };
    let answer = send(house, only_check).await.expect("checked");
    let told = answer.faults.into_iter().map(|fault| {
        assert!(!fault.description.is_empty());
        (fault.record_index, fault.field)
    });
    told.collect()
}

/// The whole branch, referrers before what they refer to.
fn branch() -> Vec<Record> {
    vec![
        Record::Job(v1::Job {
            name: JOB.into(),
            ..job()
        }),
        Record::Worker(v1::Worker {
            name: worker_name("piet"),
            ..in_crew("a", worker("Piet", &["chainsaw"]))
        }),
        Record::Crew(v1::Crew {
            name: crew_name("a"),
            vehicle: unit_name("truck"),
            trailer: unit_name("trailer"),
            ..crew_of("A")
        }),
        Record::Site(v1::Site {
            name: SITE.into(),
            ..site()
        }),
        Record::Unit(v1::Unit {
            name: unit_name("truck"),
            ..truck("TR-1")
        }),
        Record::Unit(v1::Unit {
            name: unit_name("trailer"),
            ..trailer("TL-1")
        }),
    ]
}

async fn rows(house: &House) -> [u64; 5] {
    let read = house.database.read();
    [
        unit::Entity::find().count(read).await.expect("count"),
        crew::Entity::find().count(read).await.expect("count"),
        worker_row::Entity::find().count(read).await.expect("count"),
        site_row::Entity::find().count(read).await.expect("count"),
        job_row::Entity::find().count(read).await.expect("count"),
    ]
}

#[tokio::test]
async fn a_whole_branch_comes_in_whatever_the_order_and_once() {
    on_both(async |house| {
        open(house).await;
        let counts = house.counts().await;
        let checked = v1::ImportRecordsRequest {
            validate_only: true,
            ..request(branch())
        };
        let answer = send(house, checked).await.expect("checked");
        assert_eq!((answer.created, answer.updated), (6, 0));
        assert_eq!(answer.faults, []);
        assert_eq!(rows(house).await, [0; 5]);
        assert_eq!(house.counts().await, counts);

        let stored = v1::ImportRecordsRequest {
            request_id: "7f3c1f0e-52a4-4a53-9a5e-2f3b6f1f8c03".into(),
            ..request(branch())
        };
        let answer = send(house, stored.clone()).await.expect("stored");
        assert_eq!((answer.created, answer.updated), (6, 0));
        assert_eq!(rows(house).await, [2, 1, 1, 1, 1]);
        let read = read_job(house, JOB).await.expect("read");
        let expected = v1::Job {
            name: JOB.into(),
            state: v1::JobState::Open.into(),
            etag: read.etag.clone(),
            create_time: read.create_time,
            update_time: read.update_time,
            ..job()
        };
        assert_eq!(read, expected);
        let kinds: Vec<_> = house.events().await.into_iter().map(|e| e.kind).collect();
        assert_eq!(
            kinds,
            [
                "branch.created",
                "unit.created",
                "unit.created",
                "crew.created",
                "worker.created",
                "site.created",
                "job.created",
            ]
        );
        let audit = house.audit().await;
        assert!(
            audit
                .iter()
                .skip(1)
                .all(|entry| entry.method == "forenoon.v1.ImportService/ImportRecords")
        );

        // The same call again, and the same records in another call: nothing is done.
        let counts = house.counts().await;
        let again = send(house, stored).await.expect("replayed");
        assert_eq!(again, answer);
        assert_eq!(house.counts().await, counts);
        let answer = send(house, request(branch())).await.expect("the same");
        assert_eq!((answer.created, answer.updated), (0, 0));
        assert_eq!(house.counts().await, counts);
        assert_eq!(read_job(house, JOB).await.expect("read"), read);
    })
    .await;
}

#[tokio::test]
async fn a_record_that_is_there_is_replaced() {
    on_both(async |house| {
        open(house).await;
        send(house, request(branch())).await.expect("stored");
        house.set_clock("2027-04-20T13:00:00Z");
        let counts = house.counts().await;
        let mut records = branch();
        if let Some(Record::Site(site)) = records.get_mut(3) {
            site.access_note = "New gate".into();
        }
        if let Some(Record::Job(job)) = records.get_mut(0) {
            job.priority = 5;
        }
        let answer = send(house, request(records)).await.expect("stored");
        assert_eq!((answer.created, answer.updated), (0, 2));
        let site = read_site(house, SITE).await.expect("read");
        assert_eq!(site.access_note, "New gate");
        assert_ne!(site.update_time, site.create_time);
        assert_eq!(read_job(house, JOB).await.expect("read").priority, 5);
        let kinds: Vec<_> = house
            .events()
            .await
            .into_iter()
            .skip(usize::try_from(counts[3]).expect("a count"))
            .map(|event| event.kind)
            .collect();
        assert_eq!(kinds, ["site.changed", "job.changed"]);
    })
    .await;
}

type Spoil = fn(&mut Vec<Record>);
type Faults = &'static [(i32, &'static str, &'static str)];

macro_rules! spoil {
    ($records:ident[$index:literal] $variant:ident as $one:ident => $change:expr) => {
        if let Some(Record::$variant($one)) = $records.get_mut($index) {
            $change;
        }
    };
}

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

#[tokio::test]
async fn what_is_stored_stands_in_the_way_of_records_beside_it() {
    let house = House::on_sqlite().await;
    open(&house).await;
    send(&house, request(branch())).await.expect("stored");
    let one = |record: Record| vec![record];
    let other_unit = |serial: &str| {
        one(Record::Unit(v1::Unit {
            name: unit_name("other"),
            ..truck(serial)
        }))
    };
    let second_crew = one(Record::Crew(v1::Crew {
        name: crew_name("b"),
        vehicle: unit_name("truck"),
        ..crew_of("B")
    }));
    let retired = one(Record::Unit(v1::Unit {
        name: unit_name("truck"),
        retired: true,
        ..truck("TR-1")
    }));
    let mowing = one(Record::Unit(v1::Unit {
        name: unit_name("truck"),
        ..mower("TR-1")
    }));
    let shrunk = one(Record::Site(v1::Site {
        name: SITE.into(),
        areas: site().areas.into_iter().take(1).collect(),
        ..site()
    }));
    for (what, records, field) in [
        ("a serial", other_unit("TR-1"), "unit.serial_number"),
        ("a truck of a crew", second_crew, "crew.vehicle"),
        ("retired under a crew", retired, "unit.retired"),
        ("changed under a crew", mowing, "unit.kind"),
        ("areas under a job", shrunk, "site.areas"),
    ] {
        let counts = house.counts().await;
        assert_eq!(
            told(&house, records.clone()).await,
            [(0, field.to_owned())],
            "{what}"
        );
        let refused = send(&house, request(records)).await.expect_err(what);
        assert_eq!(refused.code(), Code::InvalidArgument, "{what}");
        assert_eq!(house.counts().await, counts, "{what}");
    }
    assert_eq!(
        told(&house, other_unit("TR-2")).await,
        [] as [(i32, String); 0]
    );
}

#[tokio::test]
async fn a_job_called_off_or_done_takes_no_other_record() {
    let house = House::on_sqlite().await;
    open(&house).await;
    send(&house, request(branch())).await.expect("stored");
    cancel_job(&house, "Sold", "").await.expect("off");
    for state in ["cancelled", "done"] {
        execute(&house, &format!("UPDATE job SET state = '{state}'")).await;
        let same = send(&house, request(branch())).await.expect("the same");
        assert_eq!((same.created, same.updated), (0, 0), "{state}");
        let mut changed = branch();
        spoil!(changed[0] Job as one => one.priority = 5);
        assert_eq!(told(&house, changed).await, [(0, "job".to_owned())]);
    }
    execute(&house, "UPDATE job SET state = 'running'").await;
    let mut changed = branch();
    spoil!(changed[0] Job as one => one.priority = 5);
    send(&house, request(changed)).await.expect("stored");
    let after = read_job(&house, JOB).await.expect("read");
    assert_eq!((after.state(), after.priority), (v1::JobState::Running, 5));
}

#[tokio::test]
async fn units_may_exchange_their_serial_numbers_and_crews_their_trucks() {
    on_both(async |house| {
        open(house).await;
        let fleet = |first: &str, second: &str, of_a: &str, of_b: &str| {
            let unit = |id: &str, serial: &str| {
                Record::Unit(v1::Unit {
                    name: unit_name(id),
                    ..truck(serial)
                })
            };
            let crew = |id: &str, vehicle: &str| {
                Record::Crew(v1::Crew {
                    name: crew_name(id),
                    vehicle: unit_name(vehicle),
                    ..crew_of(id)
                })
            };
            request(vec![
                unit("one", first),
                unit("two", second),
                crew("a", of_a),
                crew("b", of_b),
            ])
        };
        let stored = fleet("TR-1", "TR-2", "one", "two");
        send(house, stored).await.expect("stored");
        let exchanged = fleet("TR-2", "TR-1", "two", "one");
        let answer = send(house, exchanged).await.expect("exchanged");
        assert_eq!(answer.updated, 4);
        for (id, serial) in [("one", "TR-2"), ("two", "TR-1")] {
            let unit = read_unit(house, &unit_name(id)).await.expect("read");
            assert_eq!(unit.serial_number, serial);
        }
        // The first takes the second's, and the second a new one.
        let chained = fleet("TR-1", "TR-3", "two", "one");
        send(house, chained).await.expect("chained");
        // A new unit takes a number given up in the same import.
        let mut last = fleet("TR-4", "TR-3", "two", "one");
        last.records.push(record(Record::Unit(v1::Unit {
            name: unit_name("three"),
            ..truck("TR-1")
        })));
        send(house, last).await.expect("taken over");
        let third = read_unit(house, &unit_name("three")).await.expect("read");
        assert_eq!(third.serial_number, "TR-1");
    })
    .await;
}

/// `count` sites, each with a job whose tasks are composed.
fn many(count: usize) -> Vec<Record> {
    let site = |index: usize| {
        Record::Site(v1::Site {
            name: format!("{NORTH}/sites/s{index}"),
            ..site()
        })
    };
    let job = |index: usize| {
        Record::Job(v1::Job {
            name: format!("{NORTH}/jobs/j{index}"),
            site: format!("{NORTH}/sites/s{index}"),
            ..bare(day(4, 20), day(4, 30))
        })
    };
    (0..count).map(job).chain((0..count).map(site)).collect()
}

#[tokio::test]
async fn a_thousand_records_come_in_and_come_in_again_as_they_are() {
    on_both(async |house| {
        open(house).await;
        let began = Instant::now();
        let answer = send(house, request(many(500))).await.expect("stored");
        assert_eq!((answer.created, answer.updated), (1_000, 0));
        let counts = house.counts().await;
        assert_eq!(counts[2..], [1_001, 1_001]);
        let answer = send(house, request(many(500))).await.expect("the same");
        assert_eq!((answer.created, answer.updated), (0, 0));
        assert_eq!(house.counts().await, counts);
        let took = began.elapsed();
        assert!(took < Duration::from_secs(30), "took {took:?}");
    })
    .await;
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
