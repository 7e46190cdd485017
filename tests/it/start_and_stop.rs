//! How the server starts, says why it cannot, ends, and comes back.

use std::fs;
use std::net::TcpListener;
use std::time::Duration;

use forenoon_proto::v1::{ListBranchesRequest, PlanDayRequest};
use forenoon_tests::actors::{Api, request_id};
use forenoon_tests::database::{Database, sqlite_url};
use forenoon_tests::on_both;
use forenoon_tests::server::{Server, bare_command, command, run_to_end};
use forenoon_tests::small_branch::{BRANCH, BRANCH_ID, branch, day, records};

on_both!(
    a_killed_server_comes_back_with_all_it_acknowledged,
    a_running_call_is_finished_before_the_end,
);

async fn branch_names(api: &Api) -> Vec<String> {
    let answer = api
        .branches()
        .list_branches(ListBranchesRequest::default())
        .await
        .expect("a list");
    let branches = answer.into_inner().branches;
    branches.into_iter().map(|branch| branch.name).collect()
}

async fn a_killed_server_comes_back_with_all_it_acknowledged(database: Database) {
    let mut acknowledged = Vec::new();
    for round in 0..5 {
        let server = Server::start(&database).await;
        let api = Api::of(&server);
        assert_eq!(branch_names(&api).await, acknowledged, "round {round}");
        let stored = api.create_branch(&format!("north-{round}"), branch()).await;
        acknowledged.push(stored.name);
        server.kill();
    }
    let server = Server::start(&database).await;
    assert_eq!(branch_names(&Api::of(&server)).await, acknowledged);
}

async fn a_running_call_is_finished_before_the_end(database: Database) {
    let server = Server::start(&database).await;
    let api = Api::of(&server);
    api.create_branch(BRANCH_ID, branch()).await;
    api.import(BRANCH, records()).await;
    let mut plans = api.plans();
    let running = tokio::spawn(async move {
        plans
            .plan_day(PlanDayRequest {
                confidence_percent: 0,
                meetings: false,
                parent: BRANCH.to_owned(),
                day: Some(day()),
                seed: 3,
                // More than the limit of time allows, so that the call lasts about so long.
                iterations: 100_000_000,
                time_limit: Some(prost_types::Duration {
                    seconds: 2,
                    nanos: 0,
                }),
                travel_matrix: None,
                heat: None,
                request_id: request_id(),
            })
            .await
    });
    tokio::time::sleep(Duration::from_millis(500)).await;
    assert!(
        !running.is_finished(),
        "the call is too short to tell anything"
    );
    server.ask_to_end();

    let answer = running.await.expect("the call is not torn off");
    let plan = answer
        .expect("the call is answered")
        .into_inner()
        .plan
        .expect("a plan");
    assert_eq!(server.wait().await.code(), Some(0));

    // What was answered was stored.
    let server = Server::start(&database).await;
    let stored = Api::of(&server)
        .plans()
        .get_plan(forenoon_proto::v1::GetPlanRequest {
            name: plan.name.clone(),
        })
        .await
        .expect("the plan")
        .into_inner()
        .plan;
    assert_eq!(stored, Some(plan));
}

#[tokio::test]
async fn an_idle_server_ends_soon_when_told() {
    let database = Database::sqlite();
    let server = Server::start(&database).await;
    server.ask_to_end();
    assert_eq!(server.wait().await.code(), Some(0));
}

#[test]
fn a_port_that_is_taken_is_told() {
    let taken = TcpListener::bind("127.0.0.1:0").expect("a port");
    let address = taken.local_addr().expect("its address").to_string();
    let database = Database::sqlite();
    let mut server = command(&database);
    server.args(["--listen", &address]);
    let ended = run_to_end(server);
    assert_eq!(ended.status.code(), Some(4), "{}", ended.messages);
    assert!(ended.messages.contains(&address), "{}", ended.messages);
}

#[test]
fn a_database_that_cannot_be_written_is_told() {
    let database = Database::sqlite();
    // A file where a folder has to be: nobody can write below it, not even root.
    let blocked = database.folder().join("file");
    fs::write(&blocked, "in the way").expect("a file");
    let file = blocked.join("branch.db");
    let mut server = bare_command();
    server.args(["--listen", "127.0.0.1:0", "--database", &sqlite_url(&file)]);
    let ended = run_to_end(server);
    assert_eq!(ended.status.code(), Some(5), "{}", ended.messages);
    let path = file.display().to_string();
    assert!(ended.messages.contains(&path), "{}", ended.messages);
}

#[test]
fn a_database_that_cannot_be_reached_is_told() {
    let database = Database::sqlite();
    let mut server = bare_command();
    // A folder without a socket in it.
    let url = format!(
        "postgres://postgres@localhost/branch?host={}",
        database.folder().display()
    );
    server.args(["--listen", "127.0.0.1:0", "--database", &url]);
    server.args(["--database-wait-seconds-max", "1"]);
    let ended = run_to_end(server);
    assert_eq!(ended.status.code(), Some(7), "{}", ended.messages);
}

#[test]
fn the_version_is_that_of_the_packages() {
    let mut server = bare_command();
    server.arg("--version");
    let ended = run_to_end(server);
    assert!(ended.status.success(), "{}", ended.messages);
    let version = env!("CARGO_PKG_VERSION");
    assert_eq!(ended.output.trim(), format!("forenoon-server {version}"));
}
