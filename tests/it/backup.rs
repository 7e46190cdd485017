//! A backup made while serving is a whole branch: the two ways that deploy/README.md tells.

use forenoon_tests::actors::{Api, Dispatcher};
use forenoon_tests::cluster::Cluster;
use forenoon_tests::contents::Contents;
use forenoon_tests::database::{Database, sqlite_url};
use forenoon_tests::server::Server;
use forenoon_tests::small_branch::{BRANCH, BRANCH_ID, branch, day, records};

/// A server with a branch and a plan, and all that it lists.
async fn served(database: &Database) -> (Server, Contents) {
    let server = Server::start(database).await;
    let api = Api::of(&server);
    api.create_branch(BRANCH_ID, branch()).await;
    api.import(BRANCH, records()).await;
    Dispatcher::new(&api, BRANCH).plan(day(), 1, 200).await;
    let contents = Contents::of(&api, BRANCH).await;
    (server, contents)
}

async fn contents_of(database: &Database) -> Contents {
    let server = Server::start(database).await;
    Contents::of(&Api::of(&server), BRANCH).await
}

#[tokio::test]
async fn an_sqlite_backup_made_while_serving_is_whole() {
    let database = Database::sqlite();
    let (_server, before) = served(&database).await;
    let copy = Database::sqlite();
    let file = copy.file().expect("a file");
    database
        .execute(&format!("VACUUM INTO '{}'", file.display()))
        .await;
    assert_eq!(copy.url(), sqlite_url(&file));
    assert_eq!(contents_of(&copy).await, before);
}

#[tokio::test]
async fn a_postgres_backup_made_while_serving_is_whole() {
    let database = Database::postgres();
    let (_server, before) = served(&database).await;
    let copy = Database::postgres();
    let cluster = Cluster::shared();
    let dump = database.folder().join("backup.dump");
    let dump = dump.to_str().expect("a path in UTF-8");
    cluster.run(
        "pg_dump",
        &[
            "--format=custom",
            "--file",
            dump,
            "--dbname",
            database.url(),
        ],
    );
    cluster.run(
        "pg_restore",
        &["--exit-on-error", "--dbname", copy.url(), dump],
    );
    assert_eq!(contents_of(&copy).await, before);
}
