//! The server on the loopback interface: how soon it is ready, what it takes idle, how long reads and writes take, and
//! what a second server on the same database adds. A check of health, which reads nothing, shows what is the machine's and
//! the transport's part in a read.
//!
//! `cargo run --release -p forenoon-tests --example loopback`. Clients and servers share the machine; with `apart` the
//! servers keep to its first core and the clients to its others (`taskset`), so that what is told is how long a server
//! takes, and not how long a client waits for a core that a server has.

#![expect(
    clippy::expect_used,
    clippy::print_stdout,
    reason = "a measurement stops with what went wrong, and prints what it found"
)]

use std::env;
use std::process::{self, Command};
use std::time::{Duration, Instant};

use forenoon_proto::v1::{CreateSiteRequest, GetSiteRequest};
use forenoon_tests::actors::{Api, request_id};
use forenoon_tests::database::Database;
use forenoon_tests::server::Server;
use forenoon_tests::small_branch::{BRANCH, BRANCH_ID, branch, records, sites};
use tokio::runtime::Runtime;
use tonic::transport::Endpoint;
use tonic_health::pb::HealthCheckRequest;
use tonic_health::pb::health_client::HealthClient;

const CLIENTS: usize = 32;
const READS_EACH: usize = 400;
/// How often clients read that are screens and phones, and busy ones.
const PACES: [Duration; 3] = [
    Duration::from_millis(20),
    Duration::from_millis(10),
    Duration::from_millis(5),
];
const WRITES: usize = 300;
const STARTS: usize = 10;

fn main() {
    let databases = [
        ("SQLite", Database::sqlite()),
        ("PostgreSQL", Database::postgres()),
    ];
    let place = Place::of(env::args().nth(1).as_deref());
    // Only now, so that it has as many threads as the clients have cores.
    let clients = Runtime::new().expect("threads for the clients");
    clients.block_on(measure(databases, place));
}

async fn measure(databases: [(&str, Database); 2], place: Place) {
    for (kind, database) in databases {
        println!("{kind}");
        let first = place.server(&database).await;
        let api = Api::of(&first);
        api.create_branch(BRANCH_ID, branch()).await;
        api.import(BRANCH, records()).await;
        drop(first);
        let mut starts = Vec::new();
        for _ in 0..STARTS {
            let began = Instant::now();
            let server = place.server(&database).await;
            starts.push(began.elapsed());
            drop(server);
        }
        print("  start to ready, existing database", &mut starts);
        let server = place.server(&database).await;
        tokio::time::sleep(Duration::from_secs(2)).await;
        println!("  idle: {:.1} MB resident", server.resident_megabytes());
        let mut writes = Vec::new();
        let api = Api::of(&server);
        for count in 0..WRITES {
            let request = CreateSiteRequest {
                parent: BRANCH.to_owned(),
                site_id: format!("site-{count}"),
                site: Some(sites().swap_remove(0)),
                request_id: request_id(),
            };
            let began = Instant::now();
            api.sites().create_site(request).await.expect("created");
            writes.push(began.elapsed());
        }
        print("  write, one client", &mut writes);
        for pace in PACES {
            for (asked, what) in [(Asked::Health, "check of health"), (Asked::Site, "read")] {
                let (mut times, paced) = reads(&[server.url()], asked, Some(pace)).await;
                print(
                    &format!("  {what}, {CLIENTS} clients, {paced:.0} a second"),
                    &mut times,
                );
            }
        }
        let (mut times, bare) = reads(&[server.url()], Asked::Health, None).await;
        print(
            &format!("  check of health, {CLIENTS} clients without pause"),
            &mut times,
        );
        println!("  {bare:.0} checks a second of one server");
        let (mut times, alone) = reads(&[server.url()], Asked::Site, None).await;
        print(
            &format!("  read, {CLIENTS} clients without pause"),
            &mut times,
        );
        println!("  {alone:.0} reads a second of one server");
        println!("  busy: {:.1} MB resident", server.resident_megabytes());
        if kind == "PostgreSQL" {
            let second = place.server(&database).await;
            let (_, both) = reads(&[server.url(), second.url()], Asked::Site, None).await;
            println!(
                "  {both:.0} reads a second of two servers, {:.2} times as many",
                both / alone
            );
        }
    }
}

/// Where servers and clients run.
#[derive(Clone, Copy)]
enum Place {
    /// On the machine's cores alike.
    Together,
    /// Servers on its first core, clients on its others.
    Apart,
}

impl Place {
    /// As the argument says; the clients are put there.
    fn of(argument: Option<&str>) -> Self {
        if argument != Some("apart") {
            return Self::Together;
        }
        let cores = std::thread::available_parallelism().expect("a count of cores");
        let moved = Command::new("taskset")
            .args(["--all-tasks", "--pid", "--cpu-list"])
            .arg(format!("1-{}", cores.get() - 1))
            .arg(process::id().to_string())
            .output()
            .expect("taskset runs");
        assert!(moved.status.success(), "{moved:?}");
        Self::Apart
    }

    async fn server(self, database: &Database) -> Server {
        match self {
            Self::Together => Server::start(database).await,
            Self::Apart => {
                let mut on_the_first = Command::new("taskset");
                on_the_first.args(["--cpu-list", "0"]);
                Server::start_under(on_the_first, database).await
            }
        }
    }
}

/// What a client asks for.
#[derive(Clone, Copy)]
enum Asked {
    /// A site, which is read from the database.
    Site,
    /// Whether the server is well, which it knows.
    Health,
}

/// All clients ask at the same time, each once in `pace` or without pause. Their times, and answers a second.
async fn reads(urls: &[String], asked: Asked, pace: Option<Duration>) -> (Vec<Duration>, f64) {
    let mut tasks = Vec::new();
    let began = Instant::now();
    for number in 0..CLIENTS {
        let url = urls.iter().cycle().nth(number).expect("an address").clone();
        tasks.push(tokio::spawn(async move {
            let channel = Endpoint::from_shared(url)
                .expect("an address")
                .connect()
                .await
                .expect("a connection");
            let api = Api::new(channel.clone());
            let mut health = HealthClient::new(channel);
            let mut times = Vec::with_capacity(READS_EACH);
            for _ in 0..READS_EACH {
                if let Some(pace) = pace {
                    // By chance, so that clients do not go in step.
                    tokio::time::sleep(pace.mul_f64(rand::random_range(0.5..1.5))).await;
                }
                // Not all the same one, which would be too kind to whatever keeps or joins reads.
                let request = GetSiteRequest {
                    name: format!("{BRANCH}/sites/site-{}", rand::random_range(0..WRITES)),
                };
                let began = Instant::now();
                match asked {
                    Asked::Site => drop(api.sites().get_site(request).await.expect("read")),
                    Asked::Health => {
                        let whole = HealthCheckRequest::default();
                        health.check(whole).await.expect("well");
                    }
                }
                times.push(began.elapsed());
            }
            times
        }));
    }
    let mut all = Vec::new();
    for task in tasks {
        all.extend(task.await.expect("the client ends"));
    }
    let count = all.len() as f64;
    (all, count / began.elapsed().as_secs_f64())
}

fn print(what: &str, times: &mut [Duration]) {
    times.sort_unstable();
    let at = |part: usize| {
        let last = times.len() - 1;
        times[last * part / 100].as_secs_f64() * 1_000.0
    };
    println!(
        "{what}: median {:.2} ms, p99 {:.2} ms, most {:.2} ms, of {}",
        at(50),
        at(99),
        at(100),
        times.len()
    );
}
