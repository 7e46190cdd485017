//! A rolling upgrade with an actual older server: it and this version's serve one PostgreSQL while clients write
//! through both, over the migrations that this version brings, and back.
//!
//! `bash tests/beside_older COMMIT` builds the server of a commit and runs this with its path. It stops at the first call
//! that fails or answer that differs, and prints what went through each.

#![expect(
    clippy::expect_used,
    clippy::print_stdout,
    reason = "a check run by hand stops with what went wrong, and prints what it found"
)]

use std::env;
use std::process::Command;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use forenoon_proto::v1::{CreateSiteRequest, Plan, Site, Symptom};
use forenoon_tests::actors::{Api, CrewLead, Dispatcher, Mechanic, request_id};
use forenoon_tests::cluster::Cluster;
use forenoon_tests::contents;
use forenoon_tests::database::Database;
use forenoon_tests::server::Server;
use forenoon_tests::small_branch::{
    ASH, BRANCH, BRANCH_ID, MECHANIC, branch, day, records, sites, unit_name, unsafe_tag,
};
use tonic::Code;

/// How long clients write in each of the upgrade's stages.
const STAGE: Duration = Duration::from_secs(2);
const CLIENTS: usize = 2;
/// Pause of a client between two writes: without it a plan, which takes longer to write, would not get its turn.
const BREATH: Duration = Duration::from_millis(100);
const MIGRATIONS: &str = "SELECT count(*) FROM seaql_migrations";

#[tokio::main]
async fn main() {
    let older = env::args().nth(1).expect("the path of an older server");
    let cluster = Cluster::start();
    let database = Database::postgres_of(&cluster);

    let first = start_older(&older, &database).await;
    let there = Api::of(&first);
    there.create_branch(BRANCH_ID, branch()).await;
    there.import(BRANCH, records()).await;
    let known_before = database.number(MIGRATIONS).await;
    let stop = Arc::new(AtomicBool::new(false));
    let mut clients = writers("old", &there, &stop);
    tokio::time::sleep(STAGE).await;

    let next = Server::start(&database).await;
    let here = Api::of(&next);
    let brought = database.number(MIGRATIONS).await - known_before;
    println!("the newer server brought {brought} migrations and is ready");
    clients.extend(writers("new", &here, &stop));
    tokio::time::sleep(STAGE).await;
    work_through_both(&there, &here).await;

    // Taken back: the older one starts again on the newer schema.
    let again = start_older(&older, &database).await;
    work_through_both(&here, &Api::of(&again)).await;
    stop.store(true, Ordering::Relaxed);
    let mut created = Vec::new();
    for client in clients {
        created.extend(client.await.expect("no call fails"));
    }
    for api in [&there, &here, &Api::of(&again)] {
        let stored = contents::sites(api, BRANCH).await;
        for site in &created {
            assert_eq!(stored.get(&site.name), Some(site));
        }
    }
    for server in [first, again, next] {
        server.ask_to_end();
        assert_eq!(server.wait().await.code(), Some(0));
    }
    for by in ["old", "new"] {
        let through = |site: &&Site| site.name.contains(&format!("/{by}-"));
        let count = created.iter().filter(through).count();
        println!(
            "{count} sites created through the {by} server, each read alike through every one"
        );
    }
    println!("plans, proposals, tag-outs and releases went between both, in both directions");
}

async fn start_older(older: &str, database: &Database) -> Server {
    let mut by = Command::new("sh");
    by.args(["-c", r#"shift; exec "$0" "$@""#, older]);
    Server::start_under(by, database).await
}

/// Clients that create sites through one server until they are told to stop.
fn writers(by: &str, api: &Api, stop: &Arc<AtomicBool>) -> Vec<tokio::task::JoinHandle<Vec<Site>>> {
    (0..CLIENTS)
        .map(|client| {
            let (api, stop) = (api.clone(), Arc::clone(stop));
            let prefix = format!("{by}-{client}");
            tokio::spawn(async move {
                let mut created = Vec::new();
                while !stop.load(Ordering::Relaxed) {
                    let request = CreateSiteRequest {
                        parent: BRANCH.to_owned(),
                        site_id: format!("{prefix}-{}", created.len()),
                        site: Some(sites().swap_remove(0)),
                        request_id: request_id(),
                    };
                    let answer = loop {
                        match api.sites().create_site(request.clone()).await {
                            // Both servers write to the branch: sent again, as the contract has it.
                            Err(status) if status.code() == Code::Aborted => {}
                            answer => break answer,
                        }
                    };
                    let answer = answer.expect("no call fails over the upgrade");
                    created.push(answer.into_inner().site.expect("a site"));
                    tokio::time::sleep(BREATH).await;
                }
                created
            })
        })
        .collect()
}

/// The plan without what has come to the contract since the older server: that one leaves it empty.
fn known_to_both(plan: Plan) -> Plan {
    Plan {
        confidence_percent: 0,
        ..plan
    }
}

/// What one of the two begins the other goes on with.
async fn work_through_both(one: &Api, other: &Api) {
    let (at_one, at_other) = (Dispatcher::new(one, BRANCH), Dispatcher::new(other, BRANCH));
    let plan = at_one.plan(day(), 1, 100).await;
    at_other.publish(&plan).await;
    let plan = at_other.plan(day(), 2, 100).await;
    at_one.publish(&plan).await;
    assert_eq!(
        known_to_both(at_one.published(day()).await),
        known_to_both(at_other.published(day()).await)
    );
    let spare = unsafe_tag(&unit_name("truck-3"), Symptom::Leak);
    let tag = CrewLead::new(one, BRANCH, ASH).tag_out(spare).await;
    let tag = tag.tag_out.expect("a tag");
    let proposals = at_other.propose(day(), "a truck leaks").await;
    at_one
        .accept(proposals[0].plan.as_ref().expect("a plan"))
        .await;
    Mechanic::new(other, MECHANIC).bring_back(&tag).await;
    let proposals = at_one.propose(day(), "the truck is back").await;
    at_other
        .accept(proposals[0].plan.as_ref().expect("a plan"))
        .await;
}
