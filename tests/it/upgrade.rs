//! Versions side by side: a later version's schema is put under a server of this one that serves.
//!
//! There is one build here, so the later version is played by the statements of a migration as it would make them, with
//! its name among those applied.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use forenoon_proto::v1::{CreateSiteRequest, Site};
use forenoon_tests::actors::{Api, Dispatcher, request_id};
use forenoon_tests::contents;
use forenoon_tests::database::Database;
use forenoon_tests::on_both;
use forenoon_tests::server::{Server, command, run_to_end};
use forenoon_tests::small_branch::{BRANCH, BRANCH_ID, branch, day, records, sites};

on_both!(
    servers_go_on_over_a_migration_that_adds,
    a_migration_that_takes_away_excludes_servers_that_do_not_know_it,
);

/// Migrations that no build has.
const ADDS: &str = "m99990101_000001_adds";
const TAKES_AWAY: &str = "m99990101_000002_takes_away";
const CLIENTS: usize = 3;

/// A migration that adds: columns with defaults in tables that are written all the time, an index, a table.
async fn add(database: &Database) {
    database
        .execute(&format!(
            "BEGIN; \
             ALTER TABLE site ADD COLUMN gate_code text NOT NULL DEFAULT ''; \
             ALTER TABLE audit_entry ADD COLUMN reason text NULL; \
             ALTER TABLE plan_stop ADD COLUMN gate_code text NOT NULL DEFAULT ''; \
             CREATE INDEX site_gate_code_idx ON site (branch_id, gate_code); \
             CREATE TABLE gate (branch_id text NOT NULL, id text NOT NULL, PRIMARY KEY (branch_id, id)); \
             INSERT INTO seaql_migrations (version, applied_at) VALUES ('{ADDS}', 0); \
             COMMIT"
        ))
        .await;
}

async fn create_until(api: Api, client: usize, stop: Arc<AtomicBool>) -> Vec<Site> {
    let mut created = Vec::new();
    while !stop.load(Ordering::Relaxed) {
        let request = CreateSiteRequest {
            parent: BRANCH.to_owned(),
            site_id: format!("site-{client}-{}", created.len()),
            site: Some(sites().swap_remove(0)),
            request_id: request_id(),
        };
        let answer = api.sites().create_site(request).await;
        let answer = answer.expect("no call fails over the migration");
        created.push(answer.into_inner().site.expect("a site"));
    }
    created
}

async fn servers_go_on_over_a_migration_that_adds(database: Database) {
    let server = Server::start(&database).await;
    let api = Api::of(&server);
    api.create_branch(BRANCH_ID, branch()).await;
    api.import(BRANCH, records()).await;
    let stop = Arc::new(AtomicBool::new(false));
    let clients: Vec<_> = (0..CLIENTS)
        .map(|client| tokio::spawn(create_until(api.clone(), client, Arc::clone(&stop))))
        .collect();
    tokio::time::sleep(Duration::from_millis(300)).await;
    let before = contents::sites(&api, BRANCH).await.len();
    add(&database).await;
    tokio::time::sleep(Duration::from_millis(500)).await;

    // Taken back: a server of this version is started again, beside the one that serves.
    let again = Server::start(&database).await;
    assert!(again.log().contains(ADDS), "{}", again.log());
    let there = Api::of(&again);
    stop.store(true, Ordering::Relaxed);
    let mut created = Vec::new();
    for client in clients {
        created.extend(client.await.expect("the client ends"));
    }
    let stored = contents::sites(&there, BRANCH).await;
    for site in &created {
        assert_eq!(stored.get(&site.name), Some(site));
    }
    let plan = Dispatcher::new(&there, BRANCH).plan(day(), 1, 100).await;
    Dispatcher::new(&api, BRANCH).publish(&plan).await;
    let all = before + 10;
    assert!(stored.len() > all, "{} sites are no load", created.len());
    let defaults = "SELECT count(*) FROM site WHERE gate_code = ''";
    let whole = i64::try_from(stored.len()).expect("few");
    assert_eq!(database.number(defaults).await, whole);
    server.ask_to_end();
    assert_eq!(server.wait().await.code(), Some(0));
}

async fn a_migration_that_takes_away_excludes_servers_that_do_not_know_it(database: Database) {
    let server = Server::start(&database).await;
    let api = Api::of(&server);
    api.create_branch(BRANCH_ID, branch()).await;
    add(&database).await;
    database
        .execute(&format!(
            "BEGIN; \
             INSERT INTO seaql_migrations (version, applied_at) VALUES ('{TAKES_AWAY}', 0); \
             UPDATE schema_compatibility SET known_since = '{TAKES_AWAY}'; \
             COMMIT"
        ))
        .await;
    let mut late = command(&database);
    late.args(["--listen", "127.0.0.1:0"]);
    let ended = run_to_end(late);
    assert_eq!(ended.status.code(), Some(6), "{}", ended.messages);
    for words in [
        ADDS,
        TAKES_AWAY,
        "later version",
        "needs a server that knows",
    ] {
        assert!(ended.messages.contains(words), "{}", ended.messages);
    }
    // The one that serves ends by itself.
    drop(api);
    assert_eq!(server.wait().await.code(), Some(6));
}
