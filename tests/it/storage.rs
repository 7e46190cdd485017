//! An SQLite file that another program has locked, one on a full disk, and one that cannot grow: what is refused leaves
//! nothing, what was acknowledged is there, and once there is room again work goes on.

use std::collections::BTreeMap;
use std::process::Command;
use std::time::Duration;

use forenoon_proto::v1::{CreateSiteRequest, ListSitesRequest, Site};
use forenoon_tests::actors::{Api, request_id};
use forenoon_tests::database::Database;
use forenoon_tests::refusal::Refusal;
use forenoon_tests::server::Server;
use forenoon_tests::small_branch::{BRANCH, BRANCH_ID, branch, sites};
use tonic::Code;

/// Clients that write at the same time.
const WRITERS: usize = 4;
/// Refusals after which a client stops.
const REFUSALS: usize = 5;

fn request(id: &str) -> CreateSiteRequest {
    let site = sites().swap_remove(0);
    CreateSiteRequest {
        parent: BRANCH.to_owned(),
        site_id: id.to_owned(),
        site: Some(Site {
            // Grows the file soon.
            access_note: "x".repeat(900),
            ..site
        }),
        request_id: request_id(),
    }
}

async fn create(api: &Api, request: &CreateSiteRequest) -> Result<Site, Refusal> {
    match api.sites().create_site(request.clone()).await {
        Ok(answer) => Ok(answer.into_inner().site.expect("a site")),
        Err(status) => Err(Refusal::from(status)),
    }
}

async fn stored(api: &Api) -> BTreeMap<String, Site> {
    let request = ListSitesRequest {
        parent: BRANCH.to_owned(),
        page_size: 1_000,
        page_token: String::new(),
    };
    let answer = api.sites().list_sites(request).await.expect("a list");
    let sites = answer.into_inner().sites;
    sites
        .into_iter()
        .map(|site| (site.name.clone(), site))
        .collect()
}

/// A server on the file that waits so many seconds for a lock in it.
async fn patient(database: &Database, seconds: &str) -> Server {
    let waits = ["--database-wait-seconds-max", seconds];
    let listens = ["--listen", "127.0.0.1:0"];
    Server::start_with(database, listens.into_iter().chain(waits)).await
}

#[tokio::test]
async fn a_file_locked_by_another_program_is_waited_for() {
    let database = Database::sqlite();
    let server = patient(&database, "60").await;
    let api = Api::of(&server);
    api.create_branch(BRANCH_ID, branch()).await;
    let lock = database.lock().await;
    let waiting = {
        let (api, request) = (api.clone(), request("patient"));
        tokio::spawn(async move { (create(&api, &request).await, request) })
    };
    tokio::time::sleep(Duration::from_millis(1_500)).await;
    assert_eq!(stored(&api).await.len(), 0, "reads go on");
    lock.release().await;
    let (answer, request) = waiting.await.expect("the call ends");
    let site = answer.expect("done once the lock is gone");
    assert_eq!(create(&api, &request).await, Ok(site.clone()));
    assert_eq!(stored(&api).await, [(site.name.clone(), site)].into());
}

/// Writes behind each other are all answered after what one waits: nobody stands in line for a file that is locked.
#[tokio::test]
async fn a_file_locked_for_longer_than_is_waited_refuses_and_is_written_to_again() {
    let database = Database::sqlite();
    let server = patient(&database, "1").await;
    let api = Api::of(&server);
    api.create_branch(BRANCH_ID, branch()).await;
    let lock = database.lock().await;
    let waiting: Vec<_> = (0..WRITERS)
        .map(|count| {
            let (api, request) = (api.clone(), request(&format!("site-{count}")));
            tokio::spawn(async move { (create(&api, &request).await, request) })
        })
        .collect();
    let mut refused = Vec::new();
    for call in waiting {
        let (answer, request) = call.await.expect("the call ends while the file is locked");
        let refusal = answer.expect_err("the file is locked");
        assert_eq!(refusal.code, Code::Unavailable, "{refusal:?}");
        assert_eq!(refusal.reason, "DATABASE_AWAY", "{refusal:?}");
        refused.push(request);
    }
    assert_eq!(stored(&api).await.len(), 0, "nothing was written");
    lock.release().await;
    for request in &refused {
        create(&api, request).await.expect("done now");
    }
    assert_eq!(stored(&api).await.len(), WRITERS);
}

/// Creates sites until some were refused: those acknowledged, and the requests that were not.
async fn until_full(api: Api, writer: usize) -> (Vec<Site>, Vec<CreateSiteRequest>) {
    let (mut done, mut refused) = (Vec::new(), Vec::new());
    for count in 0..1_000 {
        let request = request(&format!("site-{writer}-{count}"));
        match create(&api, &request).await {
            Ok(site) => done.push(site),
            Err(refusal) => {
                assert_eq!(refusal.code, Code::ResourceExhausted, "{refusal:?}");
                assert_eq!(refusal.reason, "STORAGE_FULL", "{refusal:?}");
                refused.push(request);
                if refused.len() == REFUSALS {
                    return (done, refused);
                }
            }
        }
    }
    panic!("the disk does not fill up");
}

/// A disk of eight megabytes with a ballast of four, full under load. Once the ballast is gone the same server goes on. Where the
/// machine lets nobody mount a file system of their own, only the test of a file's limit shows what it can.
#[tokio::test]
async fn a_disk_that_is_full_refuses_and_is_written_to_again() {
    let own_files = ["--user", "--map-root-user", "--mount"];
    let may_mount = Command::new("unshare")
        .args(own_files)
        .args(["sh", "-c", "mount -t tmpfs tmpfs /tmp"])
        .stderr(std::process::Stdio::null())
        .status();
    if !may_mount.is_ok_and(|status| status.success()) {
        return;
    }
    let database = Database::sqlite_in("disk");
    let disk = database.folder().join("disk");
    let mut command = Command::new("unshare");
    command.args(own_files).args([
        "sh",
        "-c",
        "mount -t tmpfs -o size=8m tmpfs \"$0\" && head -c 4M /dev/zero >\"$0/ballast\" && exec \"$@\"",
    ]);
    command.arg(&disk);
    let server = Server::start_under(command, &database).await;
    let api = Api::of(&server);
    api.create_branch(BRANCH_ID, branch()).await;
    let writers: Vec<_> = (0..WRITERS)
        .map(|writer| tokio::spawn(until_full(api.clone(), writer)))
        .collect();
    let (mut expected, mut refused) = (BTreeMap::new(), Vec::new());
    for writer in writers {
        let (done, again) = writer.await.expect("a writer ends");
        expected.extend(done.into_iter().map(|site| (site.name.clone(), site)));
        refused.extend(again);
    }
    assert!(expected.len() > 20, "{} sites", expected.len());
    assert_eq!(
        stored(&api).await,
        expected,
        "what was acknowledged, and reads go on"
    );

    std::fs::remove_file(server.path(&disk.join("ballast"))).expect("room is made");
    for request in &refused {
        let late = create(&api, request).await.expect("done now");
        expected.insert(late.name.clone(), late);
    }
    assert_eq!(stored(&api).await, expected);
    let seen = database.copied_from(&server);
    let gaps = "SELECT (SELECT last_seq FROM branch_sequence) - (SELECT count(*) FROM audit_entry)";
    assert_eq!(seen.number(gaps).await, 0);
    let told = "SELECT count(*) FROM outbox_event WHERE kind = 'site.created'";
    let told = seen.number(told).await;
    assert_eq!(told, i64::try_from(expected.len()).expect("few"));
    assert_eq!(seen.texts("PRAGMA integrity_check").await, ["ok"]);
}

#[tokio::test]
async fn a_file_that_cannot_grow_refuses_and_loses_nothing() {
    let database = Database::sqlite();
    let roomy = Server::start(&database).await;
    Api::of(&roomy).create_branch(BRANCH_ID, branch()).await;
    roomy.kill();

    // No file of this server may be larger; a signal that would end it is ignored, so that the write fails.
    let blocks = 6_000;
    let mut command = Command::new("sh");
    command.args([
        "-c",
        &format!("trap '' XFSZ; ulimit -f {blocks}; exec \"$@\""),
        "sh",
    ]);
    let tight = Server::start_under(command, &database).await;
    let api = Api::of(&tight);
    let (mut expected, mut refused) = (BTreeMap::new(), Vec::new());
    for count in 0..2_000 {
        let request = request(&format!("site-{count}"));
        match create(&api, &request).await {
            Ok(site) => {
                expected.insert(site.name.clone(), site);
            }
            Err(refusal) => {
                assert!(
                    matches!(refusal.code, Code::Unavailable | Code::ResourceExhausted),
                    "{refusal:?}"
                );
                assert!(
                    ["DATABASE_AWAY", "STORAGE_FULL", "NOT_WRITABLE"]
                        .contains(&refusal.reason.as_str()),
                    "{refusal:?}"
                );
                refused.push(request);
                if refused.len() == REFUSALS {
                    break;
                }
            }
        }
    }
    assert_eq!(refused.len(), REFUSALS, "the file's limit is reached");
    assert!(expected.len() > 20, "{} sites", expected.len());
    let after = stored(&api).await;
    assert_eq!(after.len(), Ord::min(expected.len(), 1_000));
    assert!(
        after
            .iter()
            .all(|(name, site)| expected.get(name) == Some(site))
    );
    tight.kill();

    let roomy = Server::start(&database).await;
    let api = Api::of(&roomy);
    for request in &refused {
        let late = create(&api, request).await.expect("done now");
        expected.insert(late.name.clone(), late);
    }
    let whole = database.number("SELECT count(*) FROM site").await;
    assert_eq!(whole, i64::try_from(expected.len()).expect("few"));
    let gaps = "SELECT (SELECT last_seq FROM branch_sequence) - (SELECT count(*) FROM audit_entry)";
    assert_eq!(database.number(gaps).await, 0);
}
