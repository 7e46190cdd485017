//! A whole branch goes out of one server and into another, whatever databases they are on, and comes out the same.

use std::fs;
use std::path::{Path, PathBuf};

use chrono::{Datelike, Days, Utc, Weekday};
use forenoon_proto::google::r#type::Date;
use forenoon_proto::v1::upload_photo_request::Part;
use forenoon_proto::v1::{
    Case, CaseKind, ConfirmLoadRequest, FinishJobRequest, GetPlanRequest, Job, OpenCaseRequest,
    PhotoHeader, Plan, RecordServiceRequest, Symptom, TaskActual, UploadPhotoRequest,
};
use forenoon_tests::actors::{Api, CrewLead, Dispatcher, Mechanic, request_id};
use forenoon_tests::cli::{Run, forenoon};
use forenoon_tests::contents::Contents;
use forenoon_tests::database::Database;
use forenoon_tests::make::{date, job_record, minutes, on};
use forenoon_tests::on_both;
use forenoon_tests::server::{Server, command, run_to_end};
use forenoon_tests::small_branch::{
    ASH, BRANCH, BRANCH_ID, MECHANIC, branch, day, job_name, jobs, records, unit_name, unsafe_tag,
};
use serde_json::Value;

use crate::motion::PNG;

on_both!(a_branch_comes_back_the_same_on_either_database);

/// Tables with rows of branches that do not go out with a branch, and why.
const STAY: [(&str, &str); 3] = [
    (
        "plan_stop_unit",
        "an earlier version's, which says what the tasks of stops say",
    ),
    (
        "solve_lease",
        "who searches now is no matter of another server",
    ),
    ("access_key", "keys open one database"),
];

/// Every kind of row: plans in all states, a tag that came after the plan that has its unit, one released, work that a crew
/// told of, hours that are summed, and what came of it.
async fn lived_in(api: &Api, database: &Database) {
    api.create_branch(BRANCH_ID, branch()).await;
    api.import(BRANCH, records()).await;
    let dispatcher = Dispatcher::new(api, BRANCH);
    let first = dispatcher.plan(day(), 1, 200).await;
    dispatcher.publish(&first).await;
    let second = dispatcher.plan(day(), 2, 200).await;
    let second = dispatcher.publish(&second).await;
    dispatcher.plan(day(), 3, 200).await;
    work_done(api).await;
    settle_hours(database);
    let lead = CrewLead::new(api, BRANCH, ASH);
    let aboard = second
        .crew_days
        .iter()
        .flat_map(|crew| &crew.load_out)
        .next()
        .expect("a unit aboard")
        .clone();
    let spare = unit_name("truck-3");
    for unit in [&spare, &aboard] {
        let tagged = lead.tag_out(unsafe_tag(unit, Symptom::Leak)).await;
        if *unit == spare {
            let tag = tagged.tag_out.expect("a tag");
            Mechanic::new(api, MECHANIC).bring_back(&tag).await;
        }
    }
}

/// A working day of crews that is over for more than the two days after which hours are summed.
fn day_before() -> Date {
    let mut day = Utc::now().date_naive() - Days::new(5);
    while matches!(day.weekday(), Weekday::Sat | Weekday::Sun) {
        day = day - Days::new(1);
    }
    let part = |value: u32| i32::try_from(value).expect("small");
    date(day.year(), part(day.month()), part(day.day()))
}

/// A crew loads and does a job with a machine, on a day that is over, so that its hours can be summed; a photograph, a
/// complaint with it and a service of the machine come after.
async fn work_done(api: &Api) {
    let job = job_name("earlier-mow");
    let wanted = Job {
        name: job.clone(),
        windows: vec![on(day_before(), Vec::new())],
        ..jobs().swap_remove(0)
    };
    api.import(BRANCH, vec![job_record(wanted)]).await;
    let dispatcher = Dispatcher::new(api, BRANCH);
    let plan = dispatcher.plan(day_before(), 1, 100).await;
    let plan = dispatcher.publish(&plan).await;
    let (crew, stop) = plan
        .crew_days
        .iter()
        .flat_map(|crew| crew.stops.iter().map(|stop| (crew.crew.clone(), stop)))
        .find(|(_, stop)| stop.job == job)
        .expect("the job is planned");
    let task = stop.tasks.first().expect("a task");
    let loaded = ConfirmLoadRequest {
        plan: plan.name.clone(),
        crew: crew.clone(),
        request_id: request_id(),
        ..Default::default()
    };
    api.visits().confirm_load(loaded).await.expect("loaded");
    let lead = CrewLead::new(api, BRANCH, &crew);
    lead.start(&job, stop.start_time).await;
    let finish = FinishJobRequest {
        job: job.clone(),
        crew,
        finish_time: stop.finish_time,
        task_actuals: vec![TaskActual {
            task_id: task.task_id.clone(),
            duration: Some(minutes(55)),
            units: task.units.clone(),
        }],
        request_id: request_id(),
        ..Default::default()
    };
    api.visits().finish_job(finish).await.expect("done");

    let photo = upload(api, &job).await;
    let case = OpenCaseRequest {
        parent: BRANCH.to_owned(),
        case: Some(Case {
            kind: CaseKind::Complaint.into(),
            job,
            description: "Clippings on the drive.".to_owned(),
            photos: vec![photo],
            ..Default::default()
        }),
        request_id: request_id(),
    };
    api.cases().open_case(case).await.expect("opened");
    let service = RecordServiceRequest {
        unit: task.units.first().expect("a machine").clone(),
        mechanic: MECHANIC.to_owned(),
        work: "Blades ground.".to_owned(),
        request_id: request_id(),
        ..Default::default()
    };
    api.bench().record_service(service).await.expect("serviced");
}

async fn upload(api: &Api, subject: &str) -> String {
    let header = PhotoHeader {
        parent: BRANCH.to_owned(),
        subject: subject.to_owned(),
        media_type: "image/png".to_owned(),
        size_bytes: i64::try_from(PNG.len()).expect("small"),
    };
    let parts = [Part::Header(header), Part::Chunk(PNG.to_vec())];
    let parts = parts.map(|part| UploadPhotoRequest { part: Some(part) });
    let answer = api.visits().upload_photo(tokio_stream::iter(parts)).await;
    answer.expect("stored").into_inner().sha256
}

/// A server sums hours once an hour; the command that moves old days out does it first of all, and finds no old day here.
fn settle_hours(database: &Database) {
    let mut archive = command(database);
    archive
        .arg("archive")
        .arg(database.folder())
        .args(["--days-kept", "401"]);
    let ended = run_to_end(archive);
    assert!(ended.status.success(), "{}", ended.messages);
    assert!(ended.output.contains("nothing is old"), "{}", ended.output);
}

fn export(server: &Server, to: &Path) -> Run {
    let to = to.to_str().expect("a path in UTF-8");
    forenoon(["--server", &server.url(), "branch", "export", BRANCH_ID, to])
}

fn import(server: &Server, from: &Path) -> Run {
    let from = from.to_str().expect("a path in UTF-8");
    forenoon(["--server", &server.url(), "branch", "import", from])
}

fn lines(file: &PathBuf) -> Vec<Value> {
    let text = fs::read_to_string(file).expect("the export");
    text.lines()
        .map(|line| serde_json::from_str(line).expect("a JSON line"))
        .collect()
}

/// The database's tables with rows of branches. An export that leaves a new one out is seen here: they are asked of the
/// database, not of the server.
async fn tables(database: &Database) -> Vec<String> {
    let query = if database.file().is_some() {
        "SELECT t.name FROM sqlite_master t JOIN pragma_table_info(t.name) c ON c.name = 'branch_id' \
         WHERE t.type = 'table'"
    } else {
        "SELECT table_name::text FROM information_schema.columns \
         WHERE table_schema = current_schema() AND column_name = 'branch_id'"
    };
    let mut tables = database.texts(query).await;
    tables.push("branch".to_owned());
    tables.retain(|table| !STAY.iter().any(|(stays, _)| stays == table));
    tables
}

/// All but what the import itself leaves: its audit entry, event, kept answer and number, and the last line.
fn without_import(lines: &[Value]) -> Vec<Value> {
    lines
        .iter()
        .filter(|line| {
            let row = &line["row"];
            row["kind"] != "branch.imported"
                && row["method"] != "forenoon.v1.TransferService/ImportBranch"
                && line["table"] != "branch_sequence"
                && line.get("end").is_none()
        })
        .cloned()
        .collect()
}

async fn a_branch_comes_back_the_same_on_either_database(database: Database) {
    let server = Server::start(&database).await;
    let api = Api::of(&server);
    lived_in(&api, &database).await;
    let file = database.folder().join("north.jsonl");
    export(&server, &file).output_of_success();
    let before = lines(&file);
    let contents = Contents::of(&api, BRANCH).await;
    let empty: Vec<String> = tables(&database)
        .await
        .into_iter()
        .filter(|table| !before.iter().any(|line| line["table"] == table.as_str()))
        .collect();
    assert!(empty.is_empty(), "nothing of {empty:?} goes over");

    for other in [Database::sqlite(), Database::postgres()] {
        let target = Server::start(&other).await;
        import(&target, &file).output_of_success();
        let there = Api::of(&target);
        assert_eq!(Contents::of(&there, BRANCH).await, contents);
        for plan in &contents.plans {
            assert_eq!(
                whole(&there, &plan.name).await,
                whole(&api, &plan.name).await
            );
        }
        let again = other.folder().join("again.jsonl");
        export(&target, &again).output_of_success();
        assert_eq!(without_import(&lines(&again)), without_import(&before));

        // It is not brought in twice, and the branch lives on.
        let refused = import(&target, &file);
        assert_eq!(refused.code, Some(5), "{}", refused.messages);
        Dispatcher::new(&there, BRANCH).plan(day(), 9, 50).await;
    }
}

async fn whole(api: &Api, name: &str) -> Plan {
    let name = name.to_owned();
    let answer = api.plans().get_plan(GetPlanRequest { name }).await;
    answer.expect("the plan").into_inner().plan.expect("a plan")
}

#[tokio::test]
async fn a_cut_export_is_refused_and_leaves_nothing() {
    let database = Database::sqlite();
    let server = Server::start(&database).await;
    let api = Api::of(&server);
    lived_in(&api, &database).await;
    let file = database.folder().join("north.jsonl");
    export(&server, &file).output_of_success();
    let text = fs::read_to_string(&file).expect("the export");
    let cut = database.folder().join("cut.jsonl");
    fs::write(&cut, &text[..text.len() - 200]).expect("a cut export");
    let target = Database::sqlite();
    let other = Server::start(&target).await;
    let refused = import(&other, &cut);
    assert_eq!(refused.code, Some(3), "{}", refused.messages);
    assert!(refused.messages.contains("cut off"), "{}", refused.messages);
    assert_eq!(target.number("SELECT count(*) FROM audit_entry").await, 0);
    assert_eq!(target.number("SELECT count(*) FROM branch").await, 0);
    // A branch that is not there, and a file that is.
    let gone = export(&other, &target.folder().join("gone.jsonl"));
    assert_eq!(gone.code, Some(4), "{}", gone.messages);
    let taken = export(&server, &file);
    assert_ne!(taken.code, Some(0));
    assert_eq!(fs::read_to_string(&file).expect("the export"), text);
}
