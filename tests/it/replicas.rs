//! Several servers on one database: a search runs once, a server that fell asleep stores nothing, and watchers hear of
//! writes that came in elsewhere.

use std::time::{Duration, Instant};

use forenoon_proto::v1::day_service_client::DayServiceClient;
use forenoon_proto::v1::{
    ListPlansRequest, Plan, PlanDayRequest, ProposeReplanRequest, ProposeReplanResponse, Symptom,
    TagOut, TagOutRequest, WatchDayRequest, WatchDayResponse, watch_day_response::Event,
};
use forenoon_tests::actors::{Api, Dispatcher, request_id};
use forenoon_tests::database::Database;
use forenoon_tests::refusal::Refusal;
use forenoon_tests::server::Server;
use forenoon_tests::small_branch::{
    BRANCH, BRANCH_ID, branch, day, records, unit_name, unsafe_tag,
};
use tonic::{Code, Status, Streaming};

/// A call that searches for so long and not shorter.
fn plan_for(seconds: i64) -> PlanDayRequest {
    PlanDayRequest {
        confidence_percent: 0,
        meetings: false,
        parent: BRANCH.to_owned(),
        day: Some(day()),
        seed: 1,
        iterations: 100_000_000,
        time_limit: Some(prost_types::Duration { seconds, nanos: 0 }),
        travel_matrix: None,
        heat: None,
        request_id: request_id(),
    }
}

async fn two_servers(database: &Database) -> (Server, Server) {
    let first = Server::start(database).await;
    let second = Server::start(database).await;
    let api = Api::of(&first);
    api.create_branch(BRANCH_ID, branch()).await;
    api.import(BRANCH, records()).await;
    (first, second)
}

async fn plan(api: &Api, request: &PlanDayRequest) -> Result<Plan, Status> {
    let answer = api.plans().plan_day(request.clone()).await?;
    Ok(answer.into_inner().plan.expect("a plan"))
}

async fn plans(api: &Api) -> usize {
    let request = ListPlansRequest {
        parent: BRANCH.to_owned(),
        ..Default::default()
    };
    let answer = api.plans().list_plans(request).await.expect("a list");
    answer.into_inner().plans.len()
}

fn searches(server: &Server) -> usize {
    server.log().matches("searched").count()
}

#[tokio::test]
async fn one_call_sent_to_two_servers_is_searched_for_once() {
    let database = Database::postgres();
    let (first, second) = two_servers(&database).await;
    let (one, two) = (Api::of(&first), Api::of(&second));
    let request = plan_for(2);
    let (here, there) = tokio::join!(plan(&one, &request), plan(&two, &request));
    let here = here.expect("planned");
    assert_eq!(here, there.expect("answered the same"));
    assert_eq!(searches(&first) + searches(&second), 1);
    assert_eq!(plans(&two).await, 1);
    let held = "SELECT count(*) FROM solve_lease WHERE holder IS NOT NULL";
    assert_eq!(database.number(held).await, 0);
}

#[tokio::test]
async fn a_killed_servers_search_is_taken_over() {
    let database = Database::postgres();
    let (first, second) = two_servers(&database).await;
    let request = plan_for(5);
    let lost = {
        let (api, request) = (Api::of(&first), request.clone());
        tokio::spawn(async move { plan(&api, &request).await })
    };
    wait_until_held(&database).await;
    first.kill();
    assert!(lost.await.expect("the call ends").is_err());
    let short = PlanDayRequest {
        iterations: 200,
        request_id: request_id(),
        ..request
    };
    let two = Api::of(&second);
    plan(&two, &short).await.expect("planned by the other");
    assert_eq!(plans(&two).await, 1);
    assert_eq!(searches(&second), 1);
}

#[tokio::test]
async fn a_server_that_fell_asleep_over_a_search_stores_nothing() {
    let database = Database::postgres();
    let (first, second) = two_servers(&database).await;
    let slow = {
        let (api, request) = (Api::of(&first), plan_for(4));
        tokio::spawn(async move { plan(&api, &request).await })
    };
    wait_until_held(&database).await;
    first.freeze();
    let two = Api::of(&second);
    let short = PlanDayRequest {
        iterations: 200,
        ..plan_for(4)
    };
    let taken_over = plan(&two, &short).await;
    first.thaw();
    taken_over.expect("planned by the other");
    let refusal = Refusal::from(slow.await.expect("the call ends").expect_err("refused"));
    assert_eq!(
        (refusal.code, refusal.reason.as_str()),
        (Code::Aborted, "LEASE_LOST")
    );
    assert_eq!(plans(&two).await, 1);
    // It is well again.
    plan(
        &Api::of(&first),
        &PlanDayRequest {
            request_id: request_id(),
            ..short
        },
    )
    .await
    .expect("planned");
    assert_eq!(plans(&two).await, 2);
}

/// The call that asks for proposals after such a morning, and searches for some seconds.
async fn propose_after_a_morning(server: &Server) -> ProposeReplanRequest {
    let dispatcher = Dispatcher::new(&Api::of(server), BRANCH);
    let plan = dispatcher.plan(day(), 1, 200).await;
    dispatcher.publish(&plan).await;
    ProposeReplanRequest {
        parent: BRANCH.to_owned(),
        day: Some(day()),
        cause: "a crew is short".to_owned(),
        seed: 1,
        iterations: 15_000,
        request_id: request_id(),
        ..Default::default()
    }
}

async fn propose(
    api: &Api,
    request: &ProposeReplanRequest,
) -> Result<ProposeReplanResponse, Status> {
    let answer = api.plans().propose_replan(request.clone()).await?;
    Ok(answer.into_inner())
}

#[tokio::test]
async fn one_call_for_proposals_sent_to_two_servers_is_searched_for_once() {
    let database = Database::postgres();
    let (first, second) = two_servers(&database).await;
    let (one, two) = (Api::of(&first), Api::of(&second));
    let request = propose_after_a_morning(&first).await;
    let (here, there) = tokio::join!(propose(&one, &request), propose(&two, &request));
    let here = here.expect("proposed");
    assert!(!here.proposals.is_empty());
    assert_eq!(here, there.expect("answered the same"));
    assert_eq!(plans(&two).await, 1 + here.proposals.len());
    let held = "SELECT count(*) FROM solve_lease WHERE holder IS NOT NULL";
    assert_eq!(database.number(held).await, 0);
}

#[tokio::test]
async fn a_server_that_fell_asleep_over_proposals_stores_none() {
    let database = Database::postgres();
    let (first, second) = two_servers(&database).await;
    let request = propose_after_a_morning(&first).await;
    let slow = {
        let (api, request) = (Api::of(&first), request.clone());
        tokio::spawn(async move { propose(&api, &request).await })
    };
    wait_until_held(&database).await;
    first.freeze();
    let two = Api::of(&second);
    let short = ProposeReplanRequest {
        iterations: 80,
        request_id: request_id(),
        ..request
    };
    let taken_over = propose(&two, &short).await;
    first.thaw();
    let taken_over = taken_over.expect("proposed by the other");
    let refusal = Refusal::from(slow.await.expect("the call ends").expect_err("refused"));
    assert_eq!(
        (refusal.code, refusal.reason.as_str()),
        (Code::Aborted, "LEASE_LOST")
    );
    assert_eq!(plans(&two).await, 1 + taken_over.proposals.len());
}

async fn wait_until_held(database: &Database) {
    let held = "SELECT count(*) FROM solve_lease WHERE holder IS NOT NULL";
    let begun = Instant::now();
    while database.number(held).await == 0 {
        assert!(begun.elapsed() < Duration::from_secs(30), "nothing is held");
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    // Into the search.
    tokio::time::sleep(Duration::from_millis(300)).await;
}

#[tokio::test]
async fn watchers_hear_at_once_of_what_another_server_wrote() {
    const TAGS: usize = 8;
    let database = Database::postgres();
    let (first, second) = two_servers(&database).await;
    let one = Api::of(&first);
    let mut stream = watch(&second).await;
    let mut times = Vec::new();
    for (count, unit) in UNITS.into_iter().cycle().take(TAGS).enumerate() {
        if count == TAGS / 2 {
            // The listener's connection is cut; what comes then is told all the same.
            database
                .execute(
                    "SELECT pg_terminate_backend(pid) FROM pg_stat_activity \
                     WHERE pid <> pg_backend_pid() AND query LIKE 'LISTEN%'",
                )
                .await;
        }
        let begun = Instant::now();
        let tag = tag(&one, unit).await;
        let told = next_subject(&mut stream).await;
        times.push(begun.elapsed());
        assert_eq!(told, tag);
        forenoon_tests::actors::Mechanic::new(&one, forenoon_tests::small_branch::MECHANIC)
            .bring_back(&TagOut {
                name: tag,
                ..Default::default()
            })
            .await;
        for _ in 0..4 {
            next_subject(&mut stream).await;
        }
    }
    times.sort();
    // Looking alone would take a second on the average.
    let middle = times[TAGS / 2];
    assert!(middle < Duration::from_millis(500), "{times:?}");
}

const UNITS: [&str; 2] = ["walk-30", "ride-60"];

async fn tag(api: &Api, unit: &str) -> String {
    let request = TagOutRequest {
        parent: BRANCH.to_owned(),
        tag_out: Some(unsafe_tag(&unit_name(unit), Symptom::Vibration)),
        request_id: request_id(),
    };
    let answer = api.tag_outs().tag_out(request).await.expect("tagged out");
    answer.into_inner().tag_out.expect("a tag").name
}

async fn watch(server: &Server) -> Streaming<WatchDayResponse> {
    let request = WatchDayRequest {
        parent: BRANCH.to_owned(),
        day: Some(day()),
        resume_token: String::new(),
    };
    let mut stream = DayServiceClient::new(server.channel())
        .watch_day(request)
        .await
        .expect("watched")
        .into_inner();
    let first = stream.message().await.expect("a message").expect("one");
    assert!(matches!(first.event, Some(Event::Snapshot(_))));
    stream
}

async fn next_subject(stream: &mut Streaming<WatchDayResponse>) -> String {
    loop {
        let message = tokio::time::timeout(Duration::from_secs(10), stream.message())
            .await
            .expect("told in time")
            .expect("a message")
            .expect("one");
        if let Some(Event::Change(change)) = message.event {
            return change.subject;
        }
    }
}
