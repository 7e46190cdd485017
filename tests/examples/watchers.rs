//! How soon a thousand watchers are told of a publish, on the loopback interface.
//!
//! `cargo run --release -p forenoon-tests --example watchers`; add a number of watchers and one of rounds to change
//! them. It runs the real server, plans a day of 8 crews and 100 jobs again and again, publishes it, and takes the time
//! from the moment before the call is sent until the last watcher has the whole message. Watchers and server share the
//! machine, so a watcher reads what the message is of and leaves the plan in its bytes: to take it apart a thousand times
//! is not the server's work, and in life is done on a thousand machines. `decode` as a third argument has it done here.

#![expect(
    clippy::expect_used,
    clippy::print_stdout,
    reason = "a measurement stops with what went wrong, and prints what it found"
)]

use std::env;
use std::time::{Duration, Instant};

use forenoon_proto::v1::watch_day_response::Event;
use forenoon_proto::v1::{
    Capability, Crew, Role, Unit, UnitKind, WatchDayRequest, WatchDayResponse, Worker,
};
use forenoon_tests::actors::{Api, Dispatcher};
use forenoon_tests::database::Database;
use forenoon_tests::make::{
    crew_record, inches, lawn_to_mow, litres, place, shift, unit, unit_record, worker_record,
};
use forenoon_tests::server::Server;
use forenoon_tests::small_branch::{BRANCH, BRANCH_ID, branch, day};
use tokio::sync::mpsc;
use tonic::codegen::http::uri::PathAndQuery;
use tonic::transport::{Channel, Endpoint};
use tonic_prost::ProstCodec;

/// Watchers on one connection: fewer than a connection may have calls.
const PER_CONNECTION: usize = 125;
const CREWS: usize = 8;
const JOBS: usize = 100;

#[tokio::main]
async fn main() {
    let mut arguments = env::args().skip(1);
    let mut number = |usual: usize| match arguments.next() {
        Some(word) => word.parse().expect("a number"),
        None => usual,
    };
    let (watchers, rounds) = (number(1_000), number(20));
    let decode = arguments.next().is_some_and(|word| word == "decode");
    let database = Database::sqlite();
    let server = Server::start(&database).await;
    let api = Api::of(&server);
    prepare(&api).await;
    let dispatcher = Dispatcher::new(&api, BRANCH);
    let first = dispatcher.plan(day(), 1, 200).await;
    dispatcher.publish(&first).await;

    let (told, mut telling) = mpsc::unbounded_channel();
    let begun = Instant::now();
    for number in 0..watchers.div_ceil(PER_CONNECTION) {
        let channel = Endpoint::from_shared(server.url())
            .expect("an address")
            .connect()
            .await
            .expect("a connection");
        let here = PER_CONNECTION.min(watchers - number * PER_CONNECTION);
        for _ in 0..here {
            let (channel, told) = (channel.clone(), told.clone());
            if decode {
                tokio::spawn(follow::<WatchDayResponse>(channel, told));
            } else {
                tokio::spawn(follow::<Heading>(channel, told));
            }
        }
    }
    for _ in 0..watchers {
        telling.recv().await.expect("a snapshot");
    }
    println!(
        "{watchers} watchers began within {:.0} ms",
        millis(begun.elapsed())
    );

    let mut firsts = Vec::new();
    let mut lasts = Vec::new();
    let mut calls = Vec::new();
    for round in 0..rounds {
        let seed = i64::try_from(round).expect("small") + 2;
        let draft = dispatcher.plan(day(), seed, 200).await;
        let sent = Instant::now();
        let publish = dispatcher.publish(&draft);
        let all = async {
            let mut times = Vec::with_capacity(watchers);
            for _ in 0..watchers {
                times.push(telling.recv().await.expect("told"));
            }
            times
        };
        let answered = async {
            publish.await;
            Instant::now()
        };
        let (answered, times) = tokio::join!(answered, all);
        let after = |time: &Instant| time.saturating_duration_since(sent);
        firsts.push(times.iter().map(after).min().expect("some"));
        lasts.push(times.iter().map(after).max().expect("some"));
        calls.push(answered - sent);
    }
    print("publish answered", &mut calls);
    print("first watcher told", &mut firsts);
    print("last watcher told", &mut lasts);
}

/// The beginning of a response: fields that it does not name are passed over in their bytes.
#[derive(Clone, PartialEq, prost::Message)]
struct Heading {
    #[prost(message, optional, tag = "2")]
    snapshot: Option<Passed>,
    #[prost(message, optional, tag = "3")]
    change: Option<ChangeHeading>,
}

#[derive(Clone, PartialEq, prost::Message)]
struct ChangeHeading {
    #[prost(string, tag = "1")]
    kind: String,
}

#[derive(Clone, PartialEq, prost::Message)]
struct Passed {}

/// A response as far as a watcher looks at it.
trait Told: prost::Message + Default + 'static {
    /// Whether it is a snapshot or tells of a publish.
    fn counts(&self) -> bool;
}

impl Told for Heading {
    fn counts(&self) -> bool {
        let published = |change: &ChangeHeading| change.kind == "plan.published";
        self.snapshot.is_some() || self.change.as_ref().is_some_and(published)
    }
}

impl Told for WatchDayResponse {
    fn counts(&self) -> bool {
        match &self.event {
            Some(Event::Snapshot(_)) => true,
            Some(Event::Change(change)) => change.kind == "plan.published",
            _ => false,
        }
    }
}

/// Tells the moment of the snapshot and of every publish that is read.
async fn follow<T: Told>(channel: Channel, told: mpsc::UnboundedSender<Instant>) {
    let request = WatchDayRequest {
        parent: BRANCH.to_owned(),
        day: Some(day()),
        resume_token: String::new(),
    };
    let mut client = tonic::client::Grpc::new(channel);
    client.ready().await.expect("a connection");
    let mut stream = client
        .server_streaming(
            tonic::Request::new(request),
            PathAndQuery::from_static("/forenoon.v1.DayService/WatchDay"),
            ProstCodec::<WatchDayRequest, T>::default(),
        )
        .await
        .expect("watched")
        .into_inner();
    while let Ok(Some(message)) = stream.message().await {
        if message.counts() && told.send(Instant::now()).is_err() {
            return;
        }
    }
}

async fn prepare(api: &Api) {
    api.create_branch(BRANCH_ID, branch()).await;
    let mut records = Vec::new();
    for crew in 0..CREWS {
        records.push(unit_record(Unit {
            capabilities: vec![Capability::Carrier.into()],
            carries: Some(litres(4_000.0)),
            ..unit(BRANCH, &format!("truck-{crew}"), UnitKind::Vehicle, 0.0)
        }));
        records.push(unit_record(Unit {
            capabilities: vec![Capability::Mower.into()],
            cutting_width: Some(inches(30.0)),
            max_slope_percent: 25.0,
            ..unit(BRANCH, &format!("m-{crew}"), UnitKind::WalkMower, 500.0)
        }));
        records.push(crew_record(Crew {
            name: format!("{BRANCH}/crews/crew-{crew}"),
            display_name: format!("Crew {crew}"),
            shifts: (1..=5).map(|day| shift(day, (7, 0), (17, 0))).collect(),
            vehicle: format!("{BRANCH}/units/truck-{crew}"),
            ..Default::default()
        }));
        records.push(worker_record(Worker {
            name: format!("{BRANCH}/workers/worker-{crew}"),
            display_name: format!("Worker {crew}"),
            crew: format!("{BRANCH}/crews/crew-{crew}"),
            roles: vec![Role::CrewLead.into(), Role::Crew.into()],
            ..Default::default()
        }));
    }
    for number in 0..JOBS {
        let north = 0.004 * (number / 10) as f64;
        let east = 0.004 * (number % 10) as f64;
        let there = place(41.18 + north, -92.82 + east);
        records.extend(lawn_to_mow(BRANCH, number, there, day()));
    }
    api.import(BRANCH, records).await;
}

fn print(what: &str, times: &mut [Duration]) {
    times.sort_unstable();
    let at = |part: usize| {
        let last = times.len() - 1;
        millis(times[last * part / 100])
    };
    println!(
        "{what}: median {:.1} ms, p90 {:.1} ms, most {:.1} ms, of {} publishes",
        at(50),
        at(90),
        at(100),
        times.len()
    );
}

fn millis(time: Duration) -> f64 {
    time.as_secs_f64() * 1_000.0
}
