//! Goal: an import stores all of its records or none, tells every fault, and is done once.
//! Method: records of a whole branch, spoilt one by one; counts and rows are compared after refusals.

use std::time::{Duration, Instant};

use forenoon_proto::v1;
use forenoon_proto::v1::import_record::Record;
use forenoon_proto::v1::import_service_client::ImportServiceClient;
use forenoon_proto::v1::length::Value as Long;
use forenoon_store::entity::{crew, job as job_row, site as site_row, unit, worker as worker_row};
use forenoon_store::sea_orm::{EntityTrait, PaginatorTrait};
use tonic::{Code, Status};

use crate::booking::{JOB, SITE, bare, cancel_job, change_job, day, job, read_job};
use crate::house::{House, faults, on_both};
use crate::motion::cases;
use crate::rows::execute;
use crate::yard::{
    NORTH, crew as crew_of, crew_name, in_crew, length, mower, open, read_site, read_unit, site,
    trailer, truck, unit_name, worker, worker_name,
};

fn record(record: Record) -> v1::ImportRecord {
    v1::ImportRecord {
        record: Some(record),
    }
}

pub(crate) fn request(records: Vec<Record>) -> v1::ImportRecordsRequest {
    v1::ImportRecordsRequest {
        parent: NORTH.into(),
        records: records.into_iter().map(record).collect(),
        ..v1::ImportRecordsRequest::default()
    }
}

pub(crate) async fn send(
    house: &House,
    request: v1::ImportRecordsRequest,
) -> Result<v1::ImportRecordsResponse, Status> {
    let mut client = ImportServiceClient::new(house.channel());
    Ok(client.import_records(request).await?.into_inner())
}

/// Every fault as a call that only checks tells it.
pub(crate) async fn told(house: &House, records: Vec<Record>) -> Vec<(i32, String)> {
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

/// Changes the record at a place, which is of a known kind.
macro_rules! spoil {
    ($records:ident[$index:literal] $variant:ident as $one:ident => $change:expr) => {
        if let Some(Record::$variant($one)) = $records.get_mut($index) {
            $change;
        }
    };
}
pub(crate) use spoil;

/// The whole branch, referrers before what they refer to.
pub(crate) fn branch() -> Vec<Record> {
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

pub(crate) async fn rows(house: &House) -> [u64; 5] {
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

/// Guards sheets that are out: a job's record without tasks, brought in again after a change put a task between others, is
/// the job as it stands, with the ids that its tasks have.
#[tokio::test]
async fn a_record_without_tasks_keeps_the_ids_of_those_composed() {
    on_both(async |house| {
        open(house).await;
        let with_job = |condition: Option<v1::SiteCondition>| {
            let mut records = branch();
            records[0] = Record::Job(v1::Job {
                name: JOB.into(),
                condition,
                ..bare(day(4, 20), day(4, 20))
            });
            records
        };
        let tall = Some(v1::SiteCondition {
            turf_height: length(Long::Inches(40.0)),
            ..v1::SiteCondition::default()
        });
        send(house, request(with_job(None))).await.expect("stored");
        let stored = read_job(house, JOB).await.expect("read");
        let grown = v1::Job {
            condition: tall,
            ..stored
        };
        let grown = change_job(house, grown, &["condition"])
            .await
            .expect("changed");
        let numbered = (1..=grown.tasks.len()).map(|number| format!("t{number}"));
        let ids = grown.tasks.iter().map(|task| task.task_id.clone());
        assert!(!ids.eq(numbered), "one came in the middle: {grown:?}");

        let counts = house.counts().await;
        let answer = send(house, request(with_job(tall)))
            .await
            .expect("the same");
        assert_eq!((answer.created, answer.updated), (0, 0));
        assert_eq!(house.counts().await, counts);
        assert_eq!(read_job(house, JOB).await.expect("read"), grown);
    })
    .await;
}

/// A hazard with an id.
fn hazard(id: &str, area: &str) -> v1::Hazard {
    v1::Hazard {
        hazard_id: id.into(),
        description: format!("{id}, by the gate"),
        area_id: area.into(),
        ..v1::Hazard::default()
    }
}

/// Opens a case of damage at the branch's job: its hazard's id.
async fn damage(house: &House, what: &str) -> Result<String, Status> {
    let request = v1::OpenCaseRequest {
        parent: NORTH.into(),
        case: Some(v1::Case {
            kind: v1::CaseKind::Damage.into(),
            job: JOB.into(),
            description: format!("broke {what}"),
            ..v1::Case::default()
        }),
        request_id: String::new(),
    };
    let opened = cases(house).open_case(request).await?.into_inner();
    Ok(opened.case.expect("a case").hazard_id)
}

#[tokio::test]
async fn a_hazard_that_a_case_added_stays_and_what_goes_is_counted() {
    on_both(async |house| {
        open(house).await;
        let mut records = branch();
        if let Some(Record::Unit(truck)) = records.get_mut(4) {
            truck.absences = vec![v1::Absence {
                start_time: Some("2027-04-21T12:00:00Z".parse().expect("an instant")),
                end_time: Some("2027-04-21T18:00:00Z".parse().expect("an instant")),
                reason: String::new(),
            }];
        }
        let shifts = match &records[2] {
            Record::Crew(crew) => crew.shifts.len(),
            _ => 0,
        };
        assert!(shifts > 0, "the crew has shifts");
        send(house, request(records)).await.expect("stored");
        let added = damage(house, "the west window").await.expect("opened");
        let before = read_site(house, SITE).await.expect("read");
        let hazards = before.hazards.len();

        // The files of before the case, without hazards, shifts and absences.
        let mut bare = branch();
        if let Some(Record::Site(site)) = bare.get_mut(3) {
            site.hazards.clear();
        }
        if let Some(Record::Crew(crew)) = bare.get_mut(2) {
            crew.shifts.clear();
        }
        let checked = v1::ImportRecordsRequest {
            validate_only: true,
            ..request(bare.clone())
        };
        let checked = send(house, checked).await.expect("checked");
        let answer = send(house, request(bare.clone())).await.expect("stored");
        assert_eq!(answer, checked, "a check tells what would be");
        let count = |count: usize| i32::try_from(count).expect("small");
        assert_eq!(
            [
                answer.removed_hazards,
                answer.removed_shifts,
                answer.removed_absences
            ],
            [count(hazards - 1), count(shifts), 1]
        );
        let after = read_site(house, SITE).await.expect("read");
        let ids: Vec<_> = after.hazards.iter().map(|one| &one.hazard_id).collect();
        assert_eq!(ids, [&added]);

        // The same once more changes nothing; a record that has the hazard says what it is.
        let again = send(house, request(bare.clone())).await.expect("the same");
        assert_eq!((again.updated, again.removed_hazards), (0, 0));
        if let Some(Record::Site(site)) = bare.get_mut(3) {
            site.hazards = vec![hazard(&added, "")];
        }
        send(house, request(bare)).await.expect("stored");
        let after = read_site(house, SITE).await.expect("read");
        assert_eq!(after.hazards, [hazard(&added, "")]);
    })
    .await;
}

#[tokio::test]
async fn a_site_takes_no_more_hazards_than_it_may_have() {
    let house = House::on_sqlite().await;
    open(&house).await;
    let with = |count: usize| {
        let mut records = branch();
        if let Some(Record::Site(site)) = records.get_mut(3) {
            site.hazards = (0..count)
                .map(|at| hazard(&format!("h-{at}"), ""))
                .collect();
        }
        records
    };
    send(&house, request(with(199))).await.expect("stored");
    damage(&house, "the west window").await.expect("the 200th");
    let counts = house.counts().await;
    let refused = damage(&house, "the east window")
        .await
        .expect_err("the 201st");
    assert_eq!(
        faults(&refused),
        [("case.job".to_owned(), "TOO_MANY".to_owned())]
    );
    assert!(refused.message().contains(SITE), "{refused}");
    assert_eq!(house.counts().await, counts);
    // The site itself can still be written, and files may not push the case's hazard out.
    assert_eq!(
        told(&house, with(200)).await,
        [(3, "site.hazards".to_owned())]
    );
    assert_eq!(told(&house, with(199)).await, []);
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
pub(crate) fn many(count: usize) -> Vec<Record> {
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
