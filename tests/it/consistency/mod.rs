//! Tag-out, release and publish are linearizable while servers and the database die under load.
//!
//! Clients tag units out, take tags through the bench, publish drafts and read, each through any server. A call whose
//! answer was lost is sent again with its request id until it is answered. Meanwhile servers are killed or frozen, the
//! PostgreSQL cluster crashes and connections are cut, at moments that a seed chose. All that clients saw is then judged
//! by the linearizability tester of the crate `stateright`, against models of a unit's tag and of a day's plans.
//!
//! `FORENOON_FAULT_ROUNDS` sets the number of rounds for each database, `FORENOON_FAULT_SEED` the first seed.

#![expect(
    clippy::print_stdout,
    reason = "a round that fails can be played again by the seed and faults it told"
)]

mod client;
mod faults;
mod model;

use std::env;
use std::sync::{Arc, Mutex};

use forenoon_proto::v1::{Capability, ImportRecord, Unit, UnitKind};
use forenoon_tests::actors::{Api, Dispatcher};
use forenoon_tests::cluster::Cluster;
use forenoon_tests::database::Database;
use forenoon_tests::make::{litres, unit, unit_record};
use forenoon_tests::small_branch::{BRANCH, BRANCH_ID, branch, day, records};
use stateright::semantics::{ConsistencyTester, LinearizabilityTester, SequentialSpec};

use client::{Client, History};
use faults::House;
use model::{BenchModel, DayModel};

/// Rounds where nobody says.
const ROUNDS_DEFAULT: u64 = 4;
const CLIENTS: u64 = 4;
/// Calls of each client in a round.
const CALLS: u64 = 14;
/// Drafts to publish in a round.
const DRAFTS: u64 = 5;
/// Vehicles without a crew: no plan ever has them.
const SPARES: [&str; 2] = ["spare-1", "spare-2"];

#[tokio::test]
async fn one_server_that_is_killed_keeps_its_word_on_sqlite() {
    judged(House::new(Database::sqlite(), None, 1)).await;
}

#[tokio::test]
async fn two_servers_on_a_database_that_crashes_keep_their_word() {
    let cluster = Cluster::start();
    let database = Database::postgres_of(&cluster);
    judged(House::new(database, Some(cluster), 2)).await;
}

async fn judged(house: House) {
    tokio::task::LocalSet::new().run_until(rounds(house)).await;
}

async fn rounds(mut house: House) {
    let first_seed = number("FORENOON_FAULT_SEED", 1);
    let count = number("FORENOON_FAULT_ROUNDS", ROUNDS_DEFAULT);
    house.start_missing().await;
    let api = house.servers.any(0);
    api.create_branch(BRANCH_ID, branch()).await;
    api.import(BRANCH, everything()).await;
    let mut commands = Vec::new();
    for seed in first_seed..first_seed + count {
        commands.extend(round(&mut house, seed).await);
    }
    invariants(&house.database, &commands).await;
}

fn number(variable: &str, default: u64) -> u64 {
    env::var(variable).map_or(default, |text| text.parse().expect("a whole number"))
}

fn everything() -> Vec<ImportRecord> {
    let spares = SPARES.map(|id| Unit {
        capabilities: vec![Capability::Carrier.into()],
        carries: Some(litres(1_000.0)),
        ..unit(BRANCH, id, UnitKind::Vehicle, 0.0)
    });
    let mut all = records();
    all.extend(spares.map(unit_record));
    all
}

/// Plays one round, judges it, and answers with the request ids of all accepted commands.
async fn round(house: &mut House, seed: u64) -> Vec<String> {
    println!("round with FORENOON_FAULT_SEED={seed}");
    let api = house.servers.any(seed);
    let drafts = drafts(&api, seed).await;
    let start = client::standing(&api, &SPARES).await;
    let history = History::default();
    let clients: Vec<_> = (0..CLIENTS)
        .map(|number| {
            let client = Client {
                number,
                servers: Arc::clone(&house.servers),
                history: history.clone(),
                drafts: drafts.clone(),
                spares: SPARES.map(str::to_owned).to_vec(),
                seed: seed * 1_000 + number,
                accepted: Arc::new(Mutex::new(Vec::new())),
            };
            let accepted = Arc::clone(&client.accepted);
            (tokio::task::spawn_local(client.work(CALLS)), accepted)
        })
        .collect();
    house.disturb(seed).await;
    let mut commands = Vec::new();
    for (task, accepted) in clients {
        task.await.expect("the client ends");
        commands.extend(accepted.lock().expect("the list").drain(..));
    }
    house.start_missing().await;

    for (spare, open) in SPARES.into_iter().zip(start.bench) {
        let told = history.of_unit(spare);
        assert!(told.len() > 2, "too little was done with {spare}");
        judge(BenchModel { open }, &told, seed, spare);
    }
    let told = history.of_day();
    assert!(told.len() > 2, "too little was published");
    let published = start.published;
    judge(DayModel::with(published), &told, seed, "the day");
    commands
}

/// Drafts of the day, each ready to be published.
async fn drafts(api: &Api, seed: u64) -> Vec<String> {
    let dispatcher = Dispatcher::new(api, BRANCH);
    let mut drafts = Vec::new();
    for number in 0..DRAFTS {
        let seed = i64::try_from(seed * DRAFTS + number).expect("small");
        drafts.push(dispatcher.plan(day(), seed, 1).await.name);
    }
    drafts
}

/// What a client saw: who, what it did, what came of it; in the order in which calls began and ended.
#[derive(Clone, Debug)]
enum Seen<O, R> {
    Began(u64, O),
    Ended(u64, R),
}

fn judge<M>(model: M, told: &[Seen<M::Op, M::Ret>], seed: u64, what: &str)
where
    M: SequentialSpec + Clone,
    M::Op: Clone + std::fmt::Debug,
    M::Ret: Clone + std::fmt::Debug,
{
    let mut tester = LinearizabilityTester::new(model);
    for event in told {
        let taken = match event.clone() {
            Seen::Began(client, op) => tester.on_invoke(client, op).map(drop),
            Seen::Ended(client, ret) => tester.on_return(client, ret).map(drop),
        };
        taken.expect("a history that is well formed");
    }
    assert!(
        tester.is_consistent(),
        "{what} is not linearizable in the round with seed {seed}: {told:#?}"
    );
}

/// What holds in the database whatever happened.
async fn invariants(database: &Database, commands: &[String]) {
    for (rule, query) in [
        (
            "audit numbers have no gap",
            "SELECT (SELECT last_seq FROM branch_sequence) - (SELECT count(*) FROM audit_entry)",
        ),
        (
            "each audit entry has its event",
            "SELECT count(*) FROM audit_entry a LEFT JOIN outbox_event e \
             ON e.branch_id = a.branch_id AND e.seq = a.seq AND e.kind = a.kind AND e.subject = a.subject \
             WHERE e.seq IS NULL",
        ),
        (
            "no command changed one thing twice",
            "SELECT count(*) FROM (SELECT request_id FROM audit_entry WHERE request_id IS NOT NULL \
             GROUP BY request_id, subject, kind HAVING count(*) > 1) twice",
        ),
        (
            "one open tag on a unit at most",
            "SELECT count(*) FROM (SELECT unit_id FROM tag_out WHERE state <> 'released' \
             GROUP BY branch_id, unit_id HAVING count(*) > 1) twice",
        ),
        (
            "one published plan a day at most",
            "SELECT count(*) FROM (SELECT day FROM plan WHERE state = 'published' \
             GROUP BY branch_id, day HAVING count(*) > 1) twice",
        ),
        (
            "every search is over",
            "SELECT count(*) FROM solve_lease WHERE holder IS NOT NULL",
        ),
    ] {
        assert_eq!(database.number(query).await, 0, "{rule}");
    }
    let mut found = 0;
    let hexadecimal = if database.file().is_some() {
        "lower(hex(request_id))"
    } else {
        "replace(request_id::text, '-', '')"
    };
    for chunk in commands.chunks(200) {
        let ids: Vec<String> = chunk
            .iter()
            .map(|id| format!("'{}'", id.replace('-', "")))
            .collect();
        found += database
            .number(&format!(
                "SELECT count(DISTINCT request_id) FROM audit_entry WHERE {hexadecimal} IN ({})",
                ids.join(", ")
            ))
            .await;
    }
    let told = i64::try_from(commands.len()).expect("few");
    assert_eq!(found, told, "every acknowledged command is there");
    assert!(told > 10, "{told} commands are no load");
}
