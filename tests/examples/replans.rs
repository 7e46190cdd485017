//! How long proposals take when a machine breaks at ten past ten, from the call to the answer on the loopback interface.
//!
//! `cargo run --release -p forenoon-tests --example replans`; add numbers of crews, jobs and rounds to change them from 8,
//! 100 and 400, after them `sqlite` or `postgres`, and then how many iterations to ask for. It runs the real server, plans
//! and publishes a day, and then, in each round, tags out a unit that a crew has aboard, asks for proposals as of 10:10, and
//! has the unit mended. The time is that of the call for proposals: reading the day, the searches, the explanation of what does not fit, and storing the
//! drafts. The first calls of a server that has just begun are told apart: on each of its connections every statement is
//! prepared once.

#![expect(
    clippy::expect_used,
    clippy::print_stdout,
    reason = "a measurement stops with what went wrong, and prints what it found"
)]

use std::collections::BTreeSet;
use std::env;
use std::time::{Duration, Instant};

use chrono::{TimeZone, Utc};
use forenoon_proto::v1::{ProposeReplanRequest, Role, Severity, Symptom, TagOut, Worker};
use forenoon_tests::actors::{Api, CrewLead, Dispatcher, Mechanic, request_id};
use forenoon_tests::busy_branch::records;
use forenoon_tests::database::Database;
use forenoon_tests::make::{instant, worker_record};
use forenoon_tests::server::Server;
use forenoon_tests::small_branch::{BRANCH, BRANCH_ID, MECHANIC, branch, day};

/// Records in one import.
const IMPORT: usize = 1_000;
/// Calls of a server that has just begun, beside those that are counted.
const FIRST: usize = 10;
/// Iterations of the plan that is published.
const PLANNED: i64 = 60_000;

#[tokio::main]
async fn main() {
    let mut arguments = env::args().skip(1);
    let mut number = |usual: usize| match arguments.next() {
        Some(word) => word.parse().expect("a number"),
        None => usual,
    };
    let (crews, jobs, rounds) = (number(8), number(100), number(400));
    let database = match arguments.next().as_deref() {
        Some("postgres") => Database::postgres(),
        _ => Database::sqlite(),
    };
    // As many as the server itself chooses, unless told.
    let iterations = arguments
        .next()
        .map_or(0, |word| word.parse().expect("a number"));
    let server = Server::start(&database).await;
    let api = Api::of(&server);
    api.create_branch(BRANCH_ID, branch()).await;
    let mut all = records(crews, jobs, day());
    all.push(worker_record(Worker {
        name: MECHANIC.to_owned(),
        display_name: "Gus".to_owned(),
        roles: vec![Role::Mechanic.into()],
        ..Default::default()
    }));
    for part in all.chunks(IMPORT) {
        api.import(BRANCH, part.to_vec()).await;
    }
    let dispatcher = Dispatcher::new(&api, BRANCH);
    let plan = dispatcher.plan(day(), 1, PLANNED).await;
    let plan = dispatcher.publish(&plan).await;
    if database.file().is_none() {
        // As PostgreSQL itself does within a minute: until then it guesses how large the new tables are.
        database.execute("ANALYZE").await;
    }
    let totals = plan.totals.as_ref().expect("totals");
    println!(
        "{} jobs planned, {} left out",
        totals.planned_jobs, totals.unplanned_jobs
    );
    // 10:10 in America/Chicago in April.
    let from = Utc
        .with_ymd_and_hms(2035, 4, 17, 15, 10, 0)
        .single()
        .expect("an instant");
    let aboard: Vec<&String> = plan
        .crew_days
        .iter()
        .filter(|crew| !crew.stops.is_empty())
        .flat_map(|crew| &crew.load_out)
        .filter(|unit| !unit.contains("/truck-"))
        .collect();
    let lead = CrewLead::new(&api, BRANCH, &format!("{BRANCH}/crews/crew-0"));
    let mechanic = Mechanic::new(&api, MECHANIC);
    let mut times = Vec::new();
    let (mut several, mut kinds) = (0, BTreeSet::new());
    for round in 0..FIRST + rounds {
        let unit = aboard[round * 7 % aboard.len()];
        let tag = lead
            .tag_out(TagOut {
                unit: unit.clone(),
                symptom: Symptom::Vibration.into(),
                severity: Severity::Unsafe.into(),
                found_by: format!("{BRANCH}/workers/lead-0"),
                ..Default::default()
            })
            .await
            .tag_out
            .expect("a tag");
        let request = ProposeReplanRequest {
            parent: BRANCH.to_owned(),
            day: Some(day()),
            from_time: Some(instant(from.timestamp())),
            cause: "a machine broke".to_owned(),
            seed: 1,
            iterations,
            request_id: request_id(),
            ..Default::default()
        };
        let mut plans = api.plans();
        let begun = Instant::now();
        let answer = plans.propose_replan(request).await.expect("proposals");
        times.push(begun.elapsed());
        let proposals = answer.into_inner().proposals;
        several += usize::from(proposals.len() > 1);
        kinds.extend(proposals.into_iter().map(|proposal| {
            let digits = |letter: char| letter.is_ascii_digit();
            proposal.title.replace(digits, "")
        }));
        mechanic.bring_back(&tag).await;
    }
    let first = times.drain(..FIRST).max().expect("a first call");
    times.sort_unstable();
    let at = |permille: usize| millis(times[((times.len() - 1) * permille).div_ceil(1_000)]);
    println!(
        "proposals: median {:.1} ms, p90 {:.1} ms, p99 {:.1} ms, of {} calls; of the first {FIRST} the longest {:.1} ms; {several} of all with a choice, {} kinds",
        at(500),
        at(900),
        at(990),
        times.len(),
        millis(first),
        kinds.len()
    );
}

fn millis(time: Duration) -> f64 {
    time.as_secs_f64() * 1_000.0
}
