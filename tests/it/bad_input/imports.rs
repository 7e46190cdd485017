//! An import is taken as a whole or not at all.

use forenoon_proto::v1::{ImportRecord, ImportRecordsRequest, import_record};
use forenoon_tests::actors::{Api, request_id};
use forenoon_tests::contents::Contents;
use forenoon_tests::database::Database;
use forenoon_tests::make::shift;
use forenoon_tests::on_both;
use forenoon_tests::refusal::refused;
use forenoon_tests::server::Server;
use forenoon_tests::small_branch::{BRANCH, BRANCH_ID, branch, records};
use tonic::Code;

on_both!(
    one_faulty_record_keeps_all_out,
    a_check_lists_every_fault_and_writes_nothing,
    a_check_of_sound_records_tells_what_would_be_stored,
    the_same_import_again_updates,
);

/// Puts two faults into sound records, and tells where: a job without its site, and a crew's shifts that overlap.
fn faulty_records() -> (Vec<ImportRecord>, Vec<(i32, &'static str)>) {
    let mut records = records();
    let mut places = Vec::new();
    for (index, record) in records.iter_mut().enumerate() {
        let index = i32::try_from(index).expect("few records");
        match record.record.as_mut().expect("a record") {
            import_record::Record::Crew(crew) if crew.name.ends_with("/birch") => {
                crew.shifts.push(shift(2, (15, 0), (16, 0)));
                places.push((index, "crew.shifts[5]"));
            }
            import_record::Record::Job(job) if job.name.ends_with("/alley-mow") => {
                job.site = format!("{BRANCH}/sites/moon");
                places.push((index, "job.site"));
            }
            _ => {}
        }
    }
    assert_eq!(places.len(), 2);
    (records, places)
}

async fn empty_branch(server: &Server) -> Api {
    let api = Api::of(server);
    api.create_branch(BRANCH_ID, branch()).await;
    api
}

async fn one_faulty_record_keeps_all_out(database: Database) {
    let server = Server::start(&database).await;
    let api = empty_branch(&server).await;
    let before = Contents::of(&api, BRANCH).await;
    let (records, places) = faulty_records();
    let request = ImportRecordsRequest {
        parent: BRANCH.to_owned(),
        records,
        validate_only: false,
        request_id: request_id(),
    };
    let refusal = refused(
        api.imports().import_records(request).await,
        "faulty records",
    );
    assert_eq!(refusal.code, Code::InvalidArgument, "{refusal:?}");
    let blamed: Vec<&str> = refusal
        .faults
        .iter()
        .map(|fault| fault.field.as_str())
        .collect();
    let expected: Vec<String> = places
        .iter()
        .map(|(index, field)| format!("records[{index}].{field}"))
        .collect();
    assert_eq!(blamed, expected);
    assert_eq!(Contents::of(&api, BRANCH).await, before);
}

async fn a_check_lists_every_fault_and_writes_nothing(database: Database) {
    let server = Server::start(&database).await;
    let api = empty_branch(&server).await;
    let before = Contents::of(&api, BRANCH).await;
    let (records, places) = faulty_records();
    let request = ImportRecordsRequest {
        parent: BRANCH.to_owned(),
        records,
        validate_only: true,
        request_id: request_id(),
    };
    let answer = api
        .imports()
        .import_records(request)
        .await
        .expect("the faults")
        .into_inner();
    let told: Vec<(i32, &str)> = answer
        .faults
        .iter()
        .map(|fault| (fault.record_index, fault.field.as_str()))
        .collect();
    assert_eq!(told, places);
    assert_eq!(Contents::of(&api, BRANCH).await, before);
}

async fn a_check_of_sound_records_tells_what_would_be_stored(database: Database) {
    let server = Server::start(&database).await;
    let api = empty_branch(&server).await;
    let before = Contents::of(&api, BRANCH).await;
    let count = i32::try_from(records().len()).expect("few records");
    let request = ImportRecordsRequest {
        parent: BRANCH.to_owned(),
        records: records(),
        validate_only: true,
        request_id: request_id(),
    };
    let answer = api
        .imports()
        .import_records(request)
        .await
        .expect("no fault")
        .into_inner();
    assert_eq!(answer.faults, []);
    assert_eq!((answer.created, answer.updated), (count, 0));
    assert_eq!(Contents::of(&api, BRANCH).await, before);
}

async fn the_same_import_again_updates(database: Database) {
    let server = Server::start(&database).await;
    let api = empty_branch(&server).await;
    let count = i32::try_from(records().len()).expect("few records");
    let first = api.import(BRANCH, records()).await;
    assert_eq!((first.created, first.updated), (count, 0));
    let second = api.import(BRANCH, records()).await;
    assert_eq!(second.created, 0, "{second:?}");
    let units = Contents::of(&api, BRANCH).await.units.len();
    assert_eq!(units, 15);
}
