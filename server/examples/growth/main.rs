//! Whether five years of a branch of fifty crews are as fast as a week of it.
//!
//! `cargo run --release -p forenoon-server --example growth [DAYS [POSTGRES_URL_OF_A_WEEK POSTGRES_URL_OF_YEARS]]`; the
//! PostgreSQL databases must be empty. A day is planned, worked and reported through the server, then copied in the
//! database to every working day before it, with events, audit, tags, cases, photographs and services in proportion. The
//! same calls are then made to both, by turns; the ratio of medians is told.

#![expect(
    clippy::expect_used,
    clippy::print_stdout,
    reason = "a measurement stops with what went wrong, and prints what it found"
)]

mod calls;
mod copy;
mod yard;

use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};
use std::time::{Duration, Instant};

use chrono::{DateTime, Utc};
use forenoon_server::config::Limits;
use forenoon_server::edge::State;
use forenoon_server::serve::{Entrance, serve};
use forenoon_server::work::bench::{BenchRules, settle};
use forenoon_server::work::day::WatchLimits;
use forenoon_server::work::plan::Searches;
use forenoon_store::{Database, DatabaseOptions};
use tempfile::TempDir;
use tokio::net::TcpListener;
use tokio_util::sync::CancellationToken;
use tonic::transport::Channel;

/// Working days of five years.
const DAYS_DEFAULT: u32 = 1_300;
/// Working days of a week.
const WEEK: u32 = 5;
/// Rounds that are measured, after those that warm up.
const ROUNDS: usize = 25;
const WARM_UP: usize = 3;

/// The moment at which everything is asked: the last day's evening.
pub(crate) fn now() -> DateTime<Utc> {
    "2032-04-23T23:50:00Z".parse().expect("an instant")
}

/// When the last day is planned: a day that has begun is planned from then on only.
fn before_the_day() -> DateTime<Utc> {
    "2032-04-23T08:00:00Z".parse().expect("an instant")
}

/// A server with a branch.
struct Yard {
    channel: Channel,
    _folder: TempDir,
}

impl Yard {
    async fn with_days(days: u32, url: Option<String>) -> Self {
        let folder = TempDir::new().expect("a folder");
        let url = url
            .unwrap_or_else(|| format!("sqlite://{}", folder.path().join("branch.db").display()));
        let options = DatabaseOptions {
            url,
            connections_max: 8,
            wait_max: Duration::from_mins(1),
        };
        let database = Database::open(&options).await.expect("the database opens");
        let clock = Arc::new(AtomicI64::new(before_the_day().timestamp()));
        let channel = serve_on(&database, Arc::clone(&clock)).await;
        yard::furnish(&database).await;
        let plan = calls::publish(&channel, yard::day()).await;
        clock.store(now().timestamp(), Ordering::Relaxed);
        calls::work(&channel, &plan).await;
        calls::publish(&channel, yard::next_day()).await;
        let began = Instant::now();
        copy::back(&database, days).await;
        println!(
            "{days} days written in {:.0} s",
            began.elapsed().as_secs_f64()
        );
        let began = Instant::now();
        settle(&database, yard::ID, now()).await.expect("settled");
        println!("hours summed in {:.1} s", began.elapsed().as_secs_f64());
        Self {
            channel,
            _folder: folder,
        }
    }
}

async fn serve_on(database: &Database, clock: Arc<AtomicI64>) -> Channel {
    let listener = TcpListener::bind("127.0.0.1:0").await.expect("a port");
    let address = listener.local_addr().expect("an address");
    let limits = Limits::default();
    let state = State::new(
        database.clone(),
        Arc::new(move || {
            DateTime::from_timestamp(clock.load(Ordering::Relaxed), 0).expect("an instant")
        }),
        Searches::new(limits.search),
        BenchRules::default(),
        WatchLimits::default(),
        CancellationToken::new(),
    );
    tokio::spawn(serve(state, limits, Entrance::default(), listener));
    Channel::from_shared(format!("http://{address}"))
        .expect("an address")
        .connect()
        .await
        .expect("a connection")
}

#[tokio::main]
async fn main() {
    let mut arguments = std::env::args().skip(1);
    let days = arguments
        .next()
        .map_or(DAYS_DEFAULT, |text| text.parse().expect("a number of days"));
    let week = Yard::with_days(WEEK, arguments.next()).await;
    let years = Yard::with_days(days, arguments.next()).await;
    println!("| call | {WEEK} days, ms | {days} days, ms | ratio |\n|---|---|---|---|");
    for call in calls::CALLS {
        let (mut short, mut long) = (Vec::new(), Vec::new());
        for round in 0..ROUNDS + WARM_UP {
            for (yard, times) in [(&week, &mut short), (&years, &mut long)] {
                let draft = calls::prepare(&yard.channel, call).await;
                let began = Instant::now();
                calls::make(&yard.channel, call, round, draft).await;
                if round >= WARM_UP {
                    times.push(began.elapsed());
                }
            }
        }
        let (short, long) = (median_millis(&mut short), median_millis(&mut long));
        println!("| {call} | {short:.2} | {long:.2} | {:.2} |", long / short);
    }
}

fn median_millis(times: &mut [Duration]) -> f64 {
    times.sort_unstable();
    let median = times.get(times.len() / 2).copied().expect("some");
    median.as_secs_f64() * 1_000.0
}
