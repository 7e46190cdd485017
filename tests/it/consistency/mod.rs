//! Tag-out, release and publish are linearizable while servers and the database die under load.
//!
//! Clients tag units out, spare ones and ones that drafts have, take tags through the bench, publish drafts of several days
//! and read, each through any server. A call whose answer was lost is sent again with its request id until it is answered.
//! Meanwhile servers are killed or frozen, the PostgreSQL cluster crashes and connections are cut, at moments that a seed
//! chose and each kind in turn. All that clients saw is then judged by the linearizability tester of the crate `stateright`,
//! against models of a unit's tag and of a day's plans. That no plan
//! goes out with a unit that is tagged out is judged beside that, by what clients saw and by what the database has
//! (`tagged`).
//!
//! `FORENOON_FAULT_ROUNDS` sets the number of rounds for each database, `FORENOON_FAULT_SEED` the first seed.

#![expect(
    clippy::print_stdout,
    reason = "a round that fails can be played again by the seed and faults it told"
)]

mod client;
mod faults;
mod history;
mod model;
mod tagged;

use std::collections::BTreeSet;
use std::env;
use std::sync::Arc;

use forenoon_proto::google::r#type::Date;
use forenoon_proto::v1::{Capability, ImportRecord, Job, Unit, UnitKind};
use forenoon_tests::actors::{Api, Dispatcher};
use forenoon_tests::cluster::Cluster;
use forenoon_tests::database::Database;
use forenoon_tests::invariants::commands_are_whole;
use forenoon_tests::make::{job_record, litres, on, unit, unit_record};
use forenoon_tests::small_branch::{BRANCH, BRANCH_ID, branch, day, jobs, records};
use stateright::semantics::{ConsistencyTester, LinearizabilityTester, SequentialSpec};

use client::Client;
use faults::House;
use history::History;
use model::{BenchModel, DayModel};
use tagged::Draft;

/// Rounds where nobody says: each kind of fault begins two of them at least.
const ROUNDS_DEFAULT: u64 = 8;
const CLIENTS: u64 = 4;
/// Calls of each client in a round.
const CALLS: u64 = 14;
/// Drafts of each day to publish in a round.
const DRAFTS: u64 = 3;
/// Days to plan: each has one draft published in a round, and the later ones more time in which units are out.
const DAYS: u32 = 3;
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
    let mut kept = 0;
    for seed in first_seed..first_seed + count {
        let told = round(&mut house, seed).await;
        commands.extend(told.commands);
        kept += told.kept;
    }
    invariants(&house.database, &commands).await;
    println!(
        "played {:?}, {kept} publications refused for a tag",
        house.played
    );
    if count >= ROUNDS_DEFAULT {
        for kind in house.kinds() {
            let times = house.played.get(kind).copied().unwrap_or_default();
            assert!(times >= 2, "{kind:?} came {times} times");
        }
        assert!(kept > 0, "no draft had a unit that was out");
    }
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
    all.extend(jobs_of_further_days().map(job_record));
    all
}

/// What a round came to.
struct Told {
    /// The request ids of all accepted commands.
    commands: Vec<String>,
    /// Publications refused as a unit was tagged out.
    kept: usize,
}

/// Plays one round and judges it.
async fn round(house: &mut House, seed: u64) -> Told {
    println!("round with FORENOON_FAULT_SEED={seed}");
    let api = house.servers.any(seed);
    let drafts = Arc::new(drafts(&api, seed).await);
    let mut units = SPARES.map(str::to_owned).to_vec();
    units.extend(wanted(&drafts, seed));
    let start = client::standing(&api, &units, &days()).await;
    let history = History::default();
    let client = |number| Client {
        number,
        servers: Arc::clone(&house.servers),
        history: history.clone(),
        drafts: Arc::clone(&drafts),
        units: units.clone(),
        spares: SPARES.len(),
        seed: seed * 1_000 + number,
        accepted: Arc::default(),
    };
    let last = client(CLIENTS);
    let clients: Vec<_> = (0..CLIENTS)
        .map(|number| {
            let client = client(number);
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

    for (unit, open) in units.iter().zip(start.bench) {
        let told = history.of_unit(unit);
        assert!(told.len() > 2, "too little was done with {unit}");
        judge(BenchModel { open }, &told, seed, unit);
    }
    let mut told = 0;
    for (day, published) in days().into_iter().zip(start.published) {
        let of_day = history.of_day(day);
        told += of_day.len();
        judge(DayModel::with(published), &of_day, seed, "a day");
    }
    assert!(told > 2, "too little was published");
    let (outs, publications) = history.outs_and_publications();
    let wrong = tagged::wrong(&drafts, &outs, &publications);
    assert!(wrong.is_empty(), "seed {seed}: {wrong:#?}");
    let breaches = tagged::breaches(&house.database).await;
    assert!(breaches.is_empty(), "seed {seed}: {breaches:?}");
    commands_are_whole(
        &house.database,
        &format!("after the round with seed {seed}"),
    )
    .await;

    // The next round's drafts are to have them again.
    for unit in &units[SPARES.len()..] {
        last.bring_back(unit).await;
    }
    commands.extend(last.accepted.lock().expect("the list").drain(..));
    Told {
        commands,
        kept: publications.iter().filter(|one| one.kept).count(),
    }
}

/// The days that are planned; crews work on all of them.
fn days() -> [Date; DAYS as usize] {
    std::array::from_fn(|later| Date {
        day: day().day + i32::try_from(later).expect("few"),
        ..day()
    })
}

/// The branch's jobs once more for each further day, free in their time.
fn jobs_of_further_days() -> impl Iterator<Item = Job> {
    days().into_iter().skip(1).flat_map(|day| {
        jobs().into_iter().map(move |job| Job {
            name: format!("{}-{}", job.name, day.day),
            windows: vec![on(day, Vec::new())],
            promise: None,
            deadline: None,
            deadline_source: String::new(),
            ..job
        })
    })
}

/// Drafts of the days, each ready to be published.
async fn drafts(api: &Api, seed: u64) -> Vec<Draft> {
    let dispatcher = Dispatcher::new(api, BRANCH);
    let mut drafts = Vec::new();
    for day in days() {
        for number in 0..DRAFTS {
            let seed = i64::try_from(seed * DRAFTS + number).expect("small");
            drafts.push(Draft::of(&dispatcher.plan(day, seed, 1).await));
        }
    }
    drafts
}

/// A vehicle and a machine that drafts have, others from round to round.
fn wanted(drafts: &[Draft], seed: u64) -> [String; 2] {
    let all: BTreeSet<&String> = drafts.iter().flat_map(|draft| &draft.units).collect();
    let (vehicles, machines): (Vec<&String>, Vec<&String>) =
        all.into_iter().partition(|unit| unit.starts_with("tr"));
    let turn = usize::try_from(seed).expect("small");
    [vehicles, machines].map(|units| units[turn % units.len()].clone())
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
    commands_are_whole(database, "after all rounds").await;
    for (rule, query) in [
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
