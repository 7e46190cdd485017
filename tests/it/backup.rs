//! A backup made under load is whole: it opens, has every command acknowledged before it began and no half of any, and a
//! server goes on from it. The ways are those that deploy/README.md tells.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use forenoon_proto::v1::{CreateSiteRequest, Site};
use forenoon_tests::actors::{Api, Dispatcher, request_id};
use forenoon_tests::cluster::Cluster;
use forenoon_tests::contents::{self, Contents};
use forenoon_tests::database::{Database, sqlite_url};
use forenoon_tests::invariants::commands_are_whole;
use forenoon_tests::server::{Ended, Server, bare_command, command, run_to_end};
use forenoon_tests::small_branch::{BRANCH, BRANCH_ID, branch, day, records, sites};
use tokio::task::JoinHandle;

const CLIENTS: u64 = 4;
/// Calls acknowledged before the backup begins, so that it begins amid commands.
const CALLS_BEFORE: usize = 20;

/// A server with a branch and a plan.
async fn served(database: &Database) -> (Server, Api) {
    let server = Server::start(database).await;
    let api = Api::of(&server);
    api.create_branch(BRANCH_ID, branch()).await;
    api.import(BRANCH, records()).await;
    let dispatcher = Dispatcher::new(&api, BRANCH);
    let plan = dispatcher.plan(day(), 1, 200).await;
    dispatcher.publish(&plan).await;
    (server, api)
}

/// Clients that create sites without a pause.
struct Load {
    stop: Arc<AtomicBool>,
    acknowledged: Arc<std::sync::Mutex<BTreeMap<String, Site>>>,
    clients: Vec<JoinHandle<()>>,
}

impl Load {
    fn begin(api: &Api) -> Self {
        let stop = Arc::new(AtomicBool::new(false));
        let acknowledged = Arc::default();
        let clients = (0..CLIENTS)
            .map(|client| {
                let (api, stop) = (api.clone(), Arc::clone(&stop));
                let acknowledged = Arc::clone(&acknowledged);
                tokio::spawn(create_until_stopped(api, client, stop, acknowledged))
            })
            .collect();
        Self {
            stop,
            acknowledged,
            clients,
        }
    }

    /// What was acknowledged so far.
    fn acknowledged(&self) -> BTreeMap<String, Site> {
        self.acknowledged.lock().expect("the list").clone()
    }

    /// Waits until so many calls are acknowledged, however slow the machine, and answers with all of them.
    async fn at_least(&self, calls: usize) -> BTreeMap<String, Site> {
        loop {
            let acknowledged = self.acknowledged();
            if acknowledged.len() >= calls {
                return acknowledged;
            }
            let at_work = !self.clients.iter().any(JoinHandle::is_finished);
            assert!(at_work, "a client ended before it was told to");
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
    }

    /// Ends it and answers with all that was acknowledged.
    async fn end(self) -> BTreeMap<String, Site> {
        self.stop.store(true, Ordering::Relaxed);
        for client in self.clients {
            client.await.expect("every call is answered");
        }
        let all = self.acknowledged.lock().expect("the list");
        all.clone()
    }
}

async fn create_until_stopped(
    api: Api,
    client: u64,
    stop: Arc<AtomicBool>,
    acknowledged: Arc<std::sync::Mutex<BTreeMap<String, Site>>>,
) {
    let mut count = 0;
    while !stop.load(Ordering::Relaxed) {
        let request = CreateSiteRequest {
            parent: BRANCH.to_owned(),
            site_id: format!("site-{client}-{count}"),
            site: Some(sites().swap_remove(0)),
            request_id: request_id(),
        };
        let answer = api.sites().create_site(request).await;
        let site = answer.expect("a site").into_inner().site.expect("a site");
        let mut all = acknowledged.lock().expect("the list");
        all.insert(site.name.clone(), site);
        drop(all);
        count += 1;
    }
}

/// Makes a backup under load, and checks what a server on it has.
async fn made_under_load(
    database: &Database,
    copy: &Database,
    make: impl FnOnce() + Send + 'static,
) {
    let (_server, api) = served(database).await;
    let quiet = Contents::of(&api, BRANCH).await;
    let load = Load::begin(&api);
    let before = load.at_least(CALLS_BEFORE).await;
    tokio::task::spawn_blocking(make)
        .await
        .expect("the backup is made");
    let during = load.acknowledged();
    load.at_least(during.len() + 1).await;
    let all = load.end().await;
    assert!(
        during.len() > before.len(),
        "nothing was written while the backup was made"
    );

    let restored = Server::start(copy).await;
    let there = Api::of(&restored);
    let found = contents::sites(&there, BRANCH).await;
    for (name, site) in &before {
        assert_eq!(found.get(name), Some(site), "{name} is lost");
    }
    let earlier: BTreeMap<String, Site> = quiet
        .sites
        .iter()
        .map(|site| (site.name.clone(), site.clone()))
        .collect();
    for (name, site) in &found {
        let known = all.get(name).or_else(|| earlier.get(name));
        assert_eq!(known, Some(site), "{name} was never answered so");
    }
    let mut contents = Contents::of(&there, BRANCH).await;
    contents.sites.clone_from(&quiet.sites);
    assert_eq!(contents, quiet);
    invariants(copy).await;
    // The branch lives on there.
    Dispatcher::new(&there, BRANCH).plan(day(), 2, 50).await;
}

/// Each command whole: its row, its audit entry, its event and its answer.
async fn invariants(copy: &Database) {
    commands_are_whole(copy, "in the backup").await;
    let without_entry = "SELECT count(*) FROM site s WHERE s.id LIKE 'site-%' AND NOT EXISTS \
         (SELECT 1 FROM audit_entry a WHERE a.branch_id = s.branch_id \
         AND a.subject = 'branches/' || s.branch_id || '/sites/' || s.id)";
    let count = copy.number(without_entry).await;
    assert_eq!(count, 0, "each site has its audit entry");
}

fn backup(database: &Database, file: &Path) -> Ended {
    let mut server = command(database);
    server.arg("backup").arg(file);
    run_to_end(server)
}

#[tokio::test]
async fn an_sqlite_backup_made_under_load_is_whole() {
    let database = Arc::new(Database::sqlite());
    let copy = Database::sqlite();
    let file = copy.file().expect("a file");
    assert_eq!(copy.url(), sqlite_url(&file));
    let source = Arc::clone(&database);
    made_under_load(&database, &copy, move || {
        let ended = backup(&source, &file);
        assert!(ended.status.success(), "{}", ended.messages);
        assert!(ended.output.contains("checked"), "{}", ended.output);
    })
    .await;
}

#[tokio::test]
async fn a_postgres_backup_made_under_load_is_whole() {
    let database = Database::postgres();
    let copy = Database::postgres();
    let dump = database.folder().join("backup.dump");
    let dump = dump.to_str().expect("a path in UTF-8").to_owned();
    let (from, to) = (database.url().to_owned(), copy.url().to_owned());
    made_under_load(&database, &copy, move || {
        let cluster = Cluster::shared();
        cluster.run(
            "pg_dump",
            &["--format=custom", "--file", &dump, "--dbname", &from],
        );
        cluster.run("pg_restore", &["--exit-on-error", "--dbname", &to, &dump]);
    })
    .await;
}

#[tokio::test]
async fn a_backup_writes_over_nothing_and_leaves_no_half_of_one() {
    let database = Database::sqlite();
    let (server, _) = served(&database).await;
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("backup.db");
    std::fs::write(&file, "what was there").expect("a file");
    let ended = backup(&database, &file);
    assert_eq!(ended.status.code(), Some(10), "{}", ended.messages);
    assert!(ended.messages.contains("is there already"));
    let kept = std::fs::read_to_string(&file).expect("the file");
    assert_eq!(kept, "what was there");

    // A disk on which it has no room.
    let file = folder.path().join("large.db");
    let whole = command(&database);
    let mut tight = std::process::Command::new("sh");
    tight
        .args(["-c", "trap '' XFSZ; ulimit -f 100; exec \"$@\"", "sh"])
        .arg(whole.get_program())
        .args(whole.get_args())
        .arg("backup")
        .arg(&file);
    let ended = run_to_end(tight);
    assert_eq!(ended.status.code(), Some(10), "{}", ended.messages);
    assert!(!file.exists(), "half a backup has a backup's name");

    // No database, one of another program, and a folder that is not there.
    let foreign = Database::sqlite();
    let absent = Database::sqlite();
    foreign.create("CREATE TABLE other (id INTEGER)").await;
    let nowhere = folder.path().join("missing").join("backup.db");
    for (source, file) in [(&foreign, &file), (&absent, &file), (&database, &nowhere)] {
        let ended = backup(source, file);
        assert_eq!(ended.status.code(), Some(10), "{}", ended.messages);
        assert!(!file.exists(), "{}", ended.messages);
    }
    assert!(!absent.file().expect("a path").exists());
    let left: Vec<_> = std::fs::read_dir(folder.path())
        .expect("the folder")
        .map(|entry| entry.expect("an entry").file_name())
        .collect();
    assert_eq!(left, ["backup.db"], "something was left behind");

    // A damaged copy is no backup: the checks see what the copying carried over.
    server.kill();
    database
        .execute("PRAGMA foreign_keys = OFF; DELETE FROM site WHERE id = 'school'")
        .await;
    let ended = backup(&database, &file);
    assert_eq!(ended.status.code(), Some(10), "{}", ended.messages);
    assert!(ended.messages.contains("not sound"), "{}", ended.messages);
    assert!(!file.exists());
}

#[test]
fn postgres_is_left_to_its_own_tools() {
    let mut server = bare_command();
    server.args([
        "backup",
        "a.dump",
        "--database",
        "postgres://north@localhost/forenoon",
    ]);
    let ended = run_to_end(server);
    assert_eq!(ended.status.code(), Some(3), "{}", ended.messages);
    assert!(ended.messages.contains("pg_dump"), "{}", ended.messages);
}
