//! The server is killed at moments nobody chose, under load: what was acknowledged is there once and as it was
//! answered, and a call whose answer was lost is done once when it is sent again.

use std::collections::BTreeMap;
use std::time::Duration;

use forenoon_proto::v1::{CreateSiteRequest, Site};
use forenoon_tests::actors::{Api, request_id};
use forenoon_tests::contents;
use forenoon_tests::database::Database;
use forenoon_tests::invariants::commands_are_whole;
use forenoon_tests::on_both;
use forenoon_tests::server::Server;
use forenoon_tests::small_branch::{BRANCH, BRANCH_ID, branch, sites};

on_both!(nothing_acknowledged_is_lost_and_nothing_is_done_twice);

/// Rounds where `FORENOON_CRASH_ROUNDS` does not say: more than a hundred kills over both databases.
const ROUNDS_DEFAULT: u64 = 52;
const CLIENTS: u64 = 4;
/// The kill comes between these, in milliseconds after the load begins.
const KILL_AFTER: (u64, u64) = (20, 250);

/// What one client got done before the kill: each call with its answer, and the one without.
struct Work {
    acknowledged: Vec<Site>,
    unanswered: CreateSiteRequest,
}

async fn nothing_acknowledged_is_lost_and_nothing_is_done_twice(database: Database) {
    let mut expected: BTreeMap<String, Site> = BTreeMap::new();
    let mut acknowledged = 0;
    let rounds = std::env::var("FORENOON_CRASH_ROUNDS")
        .map_or(ROUNDS_DEFAULT, |text| text.parse().expect("a whole number"));
    let mut server = Server::start(&database).await;
    Api::of(&server).create_branch(BRANCH_ID, branch()).await;
    for round in 0..rounds {
        let api = Api::of(&server);
        let clients: Vec<_> = (0..CLIENTS)
            .map(|client| tokio::spawn(create_until_cut_off(api.clone(), round, client)))
            .collect();
        tokio::time::sleep(kill_after(round)).await;
        server.kill();

        let mut unanswered = Vec::new();
        for client in clients {
            let work = client.await.expect("the client ends");
            acknowledged += work.acknowledged.len();
            expected.extend(
                work.acknowledged
                    .into_iter()
                    .map(|site| (site.name.clone(), site)),
            );
            unanswered.push(work.unanswered);
        }

        // It goes on to the next round.
        server = Server::start(&database).await;
        commands_are_whole(&database, &format!("after the kill of round {round}")).await;
        let api = Api::of(&server);
        let stored = contents::sites(&api, BRANCH).await;
        for (name, site) in &expected {
            assert_eq!(stored.get(name), Some(site), "{name} after round {round}");
        }
        // Done or not when the server died: sent again, it is done once.
        for request in unanswered {
            let site = create(&api, &request).await.expect("done now");
            assert_eq!(create(&api, &request).await.expect("answered again"), site);
            if let Some(stored) = stored.get(&site.name) {
                assert_eq!(stored, &site);
            }
            expected.insert(site.name.clone(), site);
        }
        assert_eq!(
            contents::sites(&api, BRANCH).await,
            expected,
            "after round {round}"
        );
    }
    // A round without any would tell nothing.
    let least = usize::try_from(rounds).expect("few").max(12);
    assert!(acknowledged >= least, "{acknowledged} calls are no load");
}

async fn create_until_cut_off(api: Api, round: u64, client: u64) -> Work {
    let mut acknowledged = Vec::new();
    for count in 0.. {
        let request = CreateSiteRequest {
            parent: BRANCH.to_owned(),
            site_id: format!("site-{round}-{client}-{count}"),
            site: Some(sites().swap_remove(0)),
            request_id: request_id(),
        };
        match create(&api, &request).await {
            Some(site) => acknowledged.push(site),
            None => {
                return Work {
                    acknowledged,
                    unanswered: request,
                };
            }
        }
    }
    unreachable!("the count has no end")
}

async fn create(api: &Api, request: &CreateSiteRequest) -> Option<Site> {
    let answer = api.sites().create_site(request.clone()).await.ok()?;
    answer.into_inner().site
}

/// A moment that differs from round to round and is the same in every run: the golden ratio's fractions spread
/// evenly (Weyl sequence).
fn kill_after(round: u64) -> Duration {
    let spread = round.wrapping_mul(0x9E37_79B9_7F4A_7C15) >> 32;
    let (least, most) = KILL_AFTER;
    Duration::from_millis(least + spread % (most - least))
}
