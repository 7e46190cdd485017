//! Goal: where keys are asked for, each lets in whom it names, for what they do, until it ends; and with a certificate
//! nobody on the way can read along. Method: the real server and its own command for keys.

use std::fs;
use std::path::Path;
use std::process::{Child, Stdio};
use std::time::{Duration, Instant};

use forenoon_proto::v1::import_record::Record;
use forenoon_proto::v1::{
    CreateBranchRequest, GetBranchRequest, GetWorkerRequest, ImportRecord, ImportRecordsRequest,
    ListBranchesRequest, RecordDiagnosisRequest, Role, Symptom, UpdateWorkerRequest,
    WatchDayRequest, WatchDayResponse, Worker,
};
use forenoon_tests::actors::{Api, CrewLead, Dispatcher, Mechanic, request_id};
use forenoon_tests::cli::forenoon;
use forenoon_tests::database::Database;
use forenoon_tests::make::worker_record;
use forenoon_tests::on_both;
use forenoon_tests::refusal::{self, Refusal};
use forenoon_tests::server::{Server, command, run_to_end};
use forenoon_tests::small_branch::{
    ASH, BRANCH, BRANCH_ID, LEAD, MECHANIC, branch, day, records, unit_name, unsafe_tag,
};
use prost_types::FieldMask;
use rcgen::{CertifiedKey, generate_simple_self_signed};
use tonic::{Code, Response, Status, Streaming};

on_both!(
    a_key_lets_its_holder_do_their_work_and_no_more,
    who_plans_makes_nobody_a_mechanic,
    a_key_is_good_for_its_branch_alone,
    an_ended_key_is_good_for_nothing,
);

/// Longer than servers take an ended key for, by far.
const WAIT_MAX: Duration = Duration::from_mins(1);

/// The last line that `forenoon-server key ARGUMENTS` prints.
fn key(database: &Database, arguments: &[&str]) -> String {
    let mut command = command(database);
    command.arg("key").args(arguments);
    let ended = run_to_end(command);
    assert!(ended.status.success(), "{}", ended.messages);
    let last = ended.output.lines().last();
    last.unwrap_or_default().to_owned()
}

fn keys(database: &Database) -> Vec<Vec<String>> {
    let mut command = command(database);
    command.args(["key", "list"]);
    let ended = run_to_end(command);
    let words = |line: &str| line.split('\t').map(str::to_owned).collect();
    ended.output.lines().map(words).collect()
}

/// A server that asks for keys, and the owner's.
async fn begin(database: &Database) -> (Server, Api) {
    let owner = key(database, &["issue", "--holder", "owner", "--everything"]);
    let arguments = ["--listen", "127.0.0.1:0", "--sign-in", "key"];
    let server = Server::start_with(database, arguments).await;
    let owner = Api::signed(&server, &owner);
    owner.create_branch(BRANCH_ID, branch()).await;
    owner.import(BRANCH, records()).await;
    (server, owner)
}

fn issue_to_worker(database: &Database, worker: &str) -> String {
    let id = worker.rsplit('/').next().expect("an id");
    key(database, &["issue", "--branch", BRANCH_ID, "--worker", id])
}

fn refused<T: std::fmt::Debug>(answer: Result<Response<T>, Status>) -> Refusal {
    refusal::refused(answer, "with this key")
}

fn importing(branch: &str, records: Vec<ImportRecord>) -> ImportRecordsRequest {
    ImportRecordsRequest {
        parent: branch.to_owned(),
        records,
        validate_only: false,
        request_id: request_id(),
    }
}

fn is_not_permitted(refusal: &Refusal) -> bool {
    refusal.code == Code::PermissionDenied && refusal.reason == "NOT_PERMITTED"
}

async fn a_key_lets_its_holder_do_their_work_and_no_more(database: Database) {
    let (server, _) = begin(&database).await;
    for nobody in [Api::of(&server), Api::signed(&server, &key_of_nobody())] {
        let mut branches = nobody.branches();
        let answer = branches.list_branches(ListBranchesRequest::default());
        let refusal = refused(answer.await);
        assert_eq!(refusal.code, Code::Unauthenticated);
        assert_eq!(refusal.reason, "UNAUTHENTICATED");
    }

    let lead_key = issue_to_worker(&database, LEAD);
    let lead = Api::signed(&server, &lead_key);
    let tag = CrewLead::new(&lead, BRANCH, ASH)
        .tag_out(unsafe_tag(&unit_name("truck-1"), Symptom::Vibration))
        .await
        .tag_out
        .expect("a tag");
    let diagnosis = RecordDiagnosisRequest {
        name: tag.name.clone(),
        mechanic: MECHANIC.to_owned(),
        diagnosis: "Nothing that I can see.".to_owned(),
        request_id: request_id(),
        ..Default::default()
    };
    let answer = lead.tag_outs().record_diagnosis(diagnosis.clone()).await;
    assert!(is_not_permitted(&refused(answer)));

    let mechanic = Api::signed(&server, &issue_to_worker(&database, MECHANIC));
    let for_another = RecordDiagnosisRequest {
        mechanic: LEAD.to_owned(),
        ..diagnosis
    };
    let refusal = refused(mechanic.tag_outs().record_diagnosis(for_another).await);
    assert_eq!(refusal.code, Code::InvalidArgument);
    assert_eq!(refusal.faults[0].field, "mechanic");
    let released = Mechanic::new(&mechanic, MECHANIC).bring_back(&tag).await;
    assert!(released.release_time.is_some());

    let by = |actor: &str| format!("SELECT count(*) FROM audit_entry WHERE actor = '{actor}'");
    assert!(database.number(&by(LEAD)).await >= 1);
    assert!(database.number(&by(MECHANIC)).await >= 4);

    // Health needs no key.
    let up = forenoon(["ping", "--server", &server.url()]);
    assert_eq!(up.code, Some(0), "{}", up.messages);
    let without = forenoon(["day", "--server", &server.url(), "--branch", BRANCH_ID]);
    assert_eq!(without.code, Some(8), "{}", without.messages);
    assert!(
        without.messages.contains("FORENOON_KEY"),
        "{}",
        without.messages
    );
    let with = [
        "branch",
        "list",
        "--server",
        &server.url(),
        "--key",
        &lead_key,
    ];
    assert!(forenoon(with).output_of_success().contains(BRANCH_ID));
}

async fn who_plans_makes_nobody_a_mechanic(database: Database) {
    let (server, _) = begin(&database).await;
    let dispatcher = [
        "issue",
        "--branch",
        BRANCH_ID,
        "--holder",
        "front end",
        "--role",
        "dispatcher",
    ];
    let dispatcher = Api::signed(&server, &key(&database, &dispatcher));
    let plan = Dispatcher::new(&dispatcher, BRANCH)
        .plan(day(), 1, 500)
        .await;
    assert!(!plan.crew_days.is_empty());
    // Whoever writes what a worker's roles are would have them all.
    let mut worker = dispatcher
        .crews()
        .get_worker(GetWorkerRequest {
            name: LEAD.to_owned(),
        })
        .await
        .expect("a worker")
        .into_inner()
        .worker
        .expect("a worker");
    worker.roles.push(Role::Mechanic.into());
    let update = UpdateWorkerRequest {
        worker: Some(worker.clone()),
        request_id: request_id(),
        ..Default::default()
    };
    assert!(is_not_permitted(&refused(
        dispatcher.crews().update_worker(update).await
    )));
    let import = importing(BRANCH, vec![worker_record(worker)]);
    assert!(is_not_permitted(&refused(
        dispatcher.imports().import_records(import).await
    )));
    let stranger = database
        .number("SELECT count(*) FROM worker WHERE id = 'ada' AND CAST(roles AS text) LIKE '%mechanic%'")
        .await;
    assert_eq!(stranger, 0, "nothing was written");

    let by = "SELECT count(*) FROM audit_entry WHERE actor = 'front end'";
    assert!(database.number(by).await >= 1);
}

/// A key of the right form that nobody has given out.
fn key_of_nobody() -> String {
    format!("fnk_{}", "A".repeat(43))
}

async fn a_key_is_good_for_its_branch_alone(database: Database) {
    let (server, owner) = begin(&database).await;
    owner.create_branch("southgate", branch()).await;
    let office = [
        "issue",
        "--branch",
        "southgate",
        "--holder",
        "office",
        "--role",
        "office",
    ];
    let office = Api::signed(&server, &key(&database, &office));
    let listed = office
        .branches()
        .list_branches(ListBranchesRequest::default())
        .await
        .expect("a list")
        .into_inner();
    let names: Vec<_> = listed
        .branches
        .iter()
        .map(|branch| &branch.name[..])
        .collect();
    assert_eq!(names, ["branches/southgate"]);
    for name in [BRANCH, "branches/not-there"] {
        let get = GetBranchRequest {
            name: name.to_owned(),
        };
        assert!(
            is_not_permitted(&refused(office.branches().get_branch(get).await)),
            "{name}"
        );
    }
    let watch = WatchDayRequest {
        parent: BRANCH.to_owned(),
        day: Some(day()),
        resume_token: String::new(),
    };
    assert!(is_not_permitted(&refused(
        office.days().watch_day(watch).await
    )));
    let import = ImportRecordsRequest {
        validate_only: true,
        ..importing(BRANCH, records())
    };
    assert!(is_not_permitted(&refused(
        office.imports().import_records(import).await
    )));
    // What the office may not write by one call, it may not by another.
    let is_unit = |one: &ImportRecord| matches!(one.record, Some(Record::Unit(_)));
    let import = importing(
        "branches/southgate",
        records().into_iter().filter(is_unit).collect(),
    );
    assert!(is_not_permitted(&refused(
        office.imports().import_records(import).await
    )));
    // Everything in one branch is not everything.
    let manager = [
        "issue",
        "--branch",
        "southgate",
        "--holder",
        "manager",
        "--everything",
    ];
    let manager = Api::signed(&server, &key(&database, &manager));
    let create = CreateBranchRequest {
        branch_id: "eastfield".to_owned(),
        branch: Some(branch()),
        request_id: request_id(),
    };
    assert!(is_not_permitted(&refused(
        manager.branches().create_branch(create).await
    )));
    assert_eq!(database.number("SELECT count(*) FROM branch").await, 2);
}

fn watched() -> WatchDayRequest {
    WatchDayRequest {
        parent: BRANCH.to_owned(),
        day: Some(day()),
        resume_token: String::new(),
    }
}

/// With what a watch ends.
async fn end_of(watch: &mut Streaming<WatchDayResponse>) -> Status {
    let begun = Instant::now();
    loop {
        let next = tokio::time::timeout(WAIT_MAX, watch.message()).await;
        match next.expect("an end") {
            Ok(Some(_)) => assert!(begun.elapsed() < WAIT_MAX, "it goes on"),
            Ok(None) => panic!("it ended without a word"),
            Err(status) => return status,
        }
    }
}

async fn an_ended_key_is_good_for_nothing(database: Database) {
    let (server, owner) = begin(&database).await;
    let lead = Api::signed(&server, &issue_to_worker(&database, LEAD));
    let mut watch = lead
        .days()
        .watch_day(watched())
        .await
        .expect("a watch")
        .into_inner();
    assert!(watch.message().await.expect("a snapshot").is_some());
    let listed = keys(&database);
    let own = listed
        .iter()
        .find(|words| words[1] == LEAD)
        .expect("the lead's key");
    assert_eq!(own[5], "good");
    let told = key(&database, &["end", &own[0]]);
    assert!(
        told.starts_with(&format!("{}\t{LEAD}\t", own[0])) && !told.ends_with("good"),
        "{told}"
    );

    assert_eq!(end_of(&mut watch).await.code(), Code::Unauthenticated);
    // So does one whose holder is let do nothing any more.
    let mechanic = Api::signed(&server, &issue_to_worker(&database, MECHANIC));
    let mut watch = mechanic
        .days()
        .watch_day(watched())
        .await
        .expect("a watch")
        .into_inner();
    assert!(watch.message().await.expect("a snapshot").is_some());
    let update = UpdateWorkerRequest {
        worker: Some(Worker {
            name: MECHANIC.to_owned(),
            ..Default::default()
        }),
        update_mask: Some(FieldMask {
            paths: vec!["roles".to_owned()],
        }),
        request_id: request_id(),
    };
    owner.crews().update_worker(update).await.expect("updated");
    assert_eq!(end_of(&mut watch).await.code(), Code::Unauthenticated);

    let get = GetBranchRequest {
        name: BRANCH.to_owned(),
    };
    let refusal = refused(lead.branches().get_branch(get).await);
    assert_eq!(refusal.code, Code::Unauthenticated);

    let mut again = command(&database);
    again.args(["key", "end", "00000000"]);
    let ended = run_to_end(again);
    assert_eq!(ended.status.code(), Some(13));
    assert!(ended.messages.contains("key list"), "{}", ended.messages);
}

/// Ends with the test.
struct Encrypted(Child);

impl Drop for Encrypted {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn start_encrypted(database: &Database, folder: &Path) -> Encrypted {
    let mut command = command(database);
    command
        .args(["--listen", "127.0.0.1:0", "--tls-certificate"])
        .arg(folder.join("chain.pem"))
        .arg("--tls-key")
        .arg(folder.join("key.pem"))
        .arg("--port-file")
        .arg(folder.join("port"))
        .stdout(Stdio::null())
        .stderr(Stdio::null());
    Encrypted(command.spawn().expect("the server starts"))
}

#[test]
fn with_a_certificate_calls_come_encrypted() {
    let database = Database::sqlite();
    let folder = database.folder();
    let CertifiedKey { cert, signing_key } =
        generate_simple_self_signed(["127.0.0.1".to_owned()]).expect("a certificate");
    fs::write(folder.join("chain.pem"), cert.pem()).expect("a file");
    fs::write(folder.join("key.pem"), signing_key.serialize_pem()).expect("a file");
    let other = generate_simple_self_signed(["127.0.0.1".to_owned()]).expect("another");
    fs::write(folder.join("other.pem"), other.cert.pem()).expect("a file");
    let _server = start_encrypted(&database, folder);
    let begun = Instant::now();
    let port = loop {
        if let Ok(port) = fs::read_to_string(folder.join("port")) {
            break port.trim().to_owned();
        }
        assert!(begun.elapsed() < WAIT_MAX, "no port");
        std::thread::sleep(Duration::from_millis(10));
    };
    let ping = |scheme: &str, ca: Option<&str>| {
        let server = format!("{scheme}://127.0.0.1:{port}");
        let mut words = vec!["ping".to_owned(), "--server".to_owned(), server];
        if let Some(ca) = ca {
            words.extend(["--ca".to_owned(), folder.join(ca).display().to_string()]);
        }
        forenoon(words).code
    };
    assert_eq!(ping("https", Some("chain.pem")), Some(0));
    assert_eq!(
        ping("https", Some("other.pem")),
        Some(6),
        "a certificate that nobody vouches for"
    );
    assert_ne!(ping("http", None), Some(0), "in the clear");
}

#[test]
fn a_certificate_of_no_use_is_named() {
    let database = Database::sqlite();
    let folder = database.folder();
    fs::write(folder.join("chain.pem"), "no certificate").expect("a file");
    for (arguments, code, words) in [
        (&["--tls-certificate", "chain.pem"][..], 3, "tls_key"),
        (
            &["--tls-certificate", "chain.pem", "--tls-key", "absent.pem"],
            3,
            "absent.pem",
        ),
        (
            &["--tls-certificate", "chain.pem", "--tls-key", "chain.pem"],
            3,
            "certificate",
        ),
    ] {
        let mut command = command(&database);
        command.args(["--listen", "127.0.0.1:0"]).args(arguments);
        let ended = run_to_end(command);
        assert_eq!(ended.status.code(), Some(code), "{}", ended.messages);
        assert!(ended.messages.contains(words), "{}", ended.messages);
    }
}
