//! PostgreSQL fails over under load: the leading cluster dies at a moment nobody chose, its standby takes the lead, and
//! servers find it where they found the other. With synchronous replication no acknowledged command is lost, each is
//! there once, and servers and clients go on by themselves.
//!
//! `FORENOON_FAILOVER_ROUNDS` sets the number of rounds; each has clusters of its own.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use forenoon_proto::v1::{CreateSiteRequest, Site};
use forenoon_tests::actors::{Api, Dispatcher, request_id};
use forenoon_tests::cluster::{Cluster, Front};
use forenoon_tests::contents;
use forenoon_tests::database::Database;
use forenoon_tests::invariants::commands_are_whole;
use forenoon_tests::server::Server;
use forenoon_tests::small_branch::{BRANCH, BRANCH_ID, branch, day, records, sites};

const ROUNDS_DEFAULT: u64 = 1;
const CLIENTS: usize = 4;
/// Longest wait for one answer over the failing over.
const WAIT_MAX: Duration = Duration::from_mins(1);
/// Pause before a call is sent again.
const PAUSE: Duration = Duration::from_millis(50);

#[tokio::test]
async fn a_failing_over_loses_nothing_acknowledged() {
    let rounds = std::env::var("FORENOON_FAILOVER_ROUNDS")
        .map_or(ROUNDS_DEFAULT, |text| text.parse().expect("a whole number"));
    for round in 0..rounds {
        fail_over(round).await;
    }
}

async fn fail_over(round: u64) {
    let first = Cluster::start();
    let front = Front::of(&first);
    let database = Database::postgres_behind(&front, &first);
    let second = first.start_standby();
    let servers = [
        Server::start(&database).await,
        Server::start(&database).await,
    ];
    let api = Api::of(&servers[0]);
    api.create_branch(BRANCH_ID, branch()).await;
    api.import(BRANCH, records()).await;
    let plan = Dispatcher::new(&api, BRANCH).plan(day(), 1, 100).await;
    Dispatcher::new(&api, BRANCH).publish(&plan).await;

    let stop = Arc::new(AtomicBool::new(false));
    let clients: Vec<_> = (0..CLIENTS)
        .map(|client| {
            let api = Api::of(&servers[client % servers.len()]);
            tokio::spawn(create_until(api, client, Arc::clone(&stop)))
        })
        .collect();
    // From round to round another moment, the same in every run.
    tokio::time::sleep(Duration::from_millis(200 + round * 37 % 300)).await;
    let failing_over = tokio::task::spawn_blocking(move || {
        first.crash();
        second.promote();
        front.turn_to(&second);
        (front, second)
    });
    let _kept = failing_over.await.expect("it fails over");
    tokio::time::sleep(Duration::from_millis(700)).await;
    stop.store(true, Ordering::Relaxed);

    let mut expected: BTreeMap<String, Site> = BTreeMap::new();
    let mut again = 0;
    for client in clients {
        let work = client.await.expect("every call is answered in the end");
        again += work.sent_again;
        expected.extend(
            work.created
                .into_iter()
                .map(|site| (site.name.clone(), site)),
        );
    }
    assert!(again > 0, "nothing was under way when the cluster died");
    let stored = contents::sites(&api, BRANCH).await;
    for (name, site) in &expected {
        assert_eq!(stored.get(name), Some(site), "{name} in round {round}");
    }
    assert_eq!(
        stored.len(),
        expected.len() + sites().len(),
        "round {round}"
    );
    commands_are_whole(&database, &format!("after round {round}")).await;
    let twice = "SELECT count(*) FROM (SELECT subject FROM audit_entry WHERE kind = 'site.created' \
         GROUP BY subject HAVING count(*) > 1) twice";
    let count = database.number(twice).await;
    assert_eq!(count, 0, "each site was created once");
    // Both servers go on, the one's commits are read by the other, and searches find their lease.
    let there = Api::of(&servers[1]);
    assert_eq!(
        Dispatcher::new(&there, BRANCH).published(day()).await.name,
        plan.name
    );
    let next = Dispatcher::new(&there, BRANCH).plan(day(), 2, 50).await;
    Dispatcher::new(&api, BRANCH).publish(&next).await;
}

struct Work {
    created: Vec<Site>,
    sent_again: u32,
}

/// Creates sites one after the other; a call without an answer is sent again, as it was, until it has one.
async fn create_until(api: Api, client: usize, stop: Arc<AtomicBool>) -> Work {
    let mut work = Work {
        created: Vec::new(),
        sent_again: 0,
    };
    while !stop.load(Ordering::Relaxed) {
        let request = CreateSiteRequest {
            parent: BRANCH.to_owned(),
            site_id: format!("site-{client}-{}", work.created.len()),
            site: Some(sites().swap_remove(0)),
            request_id: request_id(),
        };
        let began = Instant::now();
        let site = loop {
            match api.sites().create_site(request.clone()).await {
                Ok(answer) => break answer.into_inner().site.expect("a site"),
                Err(status) => {
                    assert!(began.elapsed() < WAIT_MAX, "no answer: {status:?}");
                    work.sent_again += 1;
                    tokio::time::sleep(PAUSE).await;
                }
            }
        };
        work.created.push(site);
    }
    work
}
