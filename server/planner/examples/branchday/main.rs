//! Plans generated days and prints how good the plan is after how long.
//!
//! `cargo run --release -p forenoon-planner --example branchday -- [--size branch|big] [--seconds S | --iterations N] [--seed N]
//! [--day N] [--threads T] [--meetings] [--cpu] [--cancel COUNT]` prints CSV: size, day, seed, seconds, first-plan milliseconds, first cost, cost, unplanned, iterations.
//!
//! `--meetings` lets crews meet on the road to hand units over. `--cpu` counts the processor's time instead of the clock's,
//! on Linux. `--cancel` cancels each kind of work that a caller can start so many times at instants drawn with the seed, and
//! prints how long each took to return.

#![allow(
    clippy::print_stdout,
    clippy::print_stderr,
    clippy::expect_used,
    reason = "a benchmark program"
)]

mod cancel;
#[path = "../../tests/support/mod.rs"]
mod support;

use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Instant;

use forenoon_planner::{
    Cancel, Heat, Iterations, Problem, Settings, Spent, check, solve, solve_on,
};
use support::branch_day::{Size, parts};

/// Seconds of processor time this process has used, from the kernel's scheduler statistics.
fn processor_seconds() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/self/schedstat").ok()?;
    let nanoseconds: f64 = text.split_whitespace().next()?.parse().ok()?;
    Some(nanoseconds / 1e9)
}

fn main() {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let value = |name: &str| {
        args.iter()
            .position(|arg| arg == name)
            .and_then(|at| args.get(at + 1))
            .cloned()
    };
    let seconds: f64 = value("--seconds").map_or(1.0, |text| text.parse().expect("seconds"));
    let seed: u64 = value("--seed").map_or(1, |text| text.parse().expect("seed"));
    let day: u64 = value("--day").map_or(1, |text| text.parse().expect("day"));
    let name = value("--size").unwrap_or_else(|| "branch".to_owned());
    let size = if name == "big" {
        Size::BIG
    } else {
        Size::BRANCH
    };
    let threads: usize = value("--threads").map_or(1, |text| text.parse().expect("threads"));
    let (mut parts, mut service) = parts(day, size);
    parts.plan_meetings = args.iter().any(|arg| arg == "--meetings");
    let problem = Problem::new(parts, &mut service).expect("a sound problem");
    let cancel = Cancel::new();

    let by_processor = args.iter().any(|arg| arg == "--cpu");
    let origin = Instant::now();
    let now = || match processor_seconds() {
        Some(seconds) if by_processor => seconds,
        _ => origin.elapsed().as_secs_f64(),
    };

    if let Some(count) = value("--cancel") {
        cancel::print_latencies(&problem, seed, count.parse().expect("a count"));
        return;
    }

    let none = Iterations(0);
    let begin = now();
    let settings = Settings {
        seed,
        budget: &none,
        cancel: &cancel,
        warm_start: None,
        heat: Heat::Full,
    };
    let first = solve(&problem, &settings, &mut |_| {});
    let first_ms = (now() - begin) * 1_000.0;
    check(&problem, &first.plan).expect("the first plan passes the checker");

    let begin = now();
    let count: Option<f64> = value("--iterations").map(|text| text.parse().expect("iterations"));
    let last = AtomicU64::new(0);
    let budget = Spent(|made: u64| {
        if let Some(count) = count {
            return made as f64 / count;
        }
        // Asking the kernel takes a tenth as long as an iteration.
        if made.is_multiple_of(8) {
            let spent = (now() - begin) / seconds;
            last.store(spent.to_bits(), Ordering::Relaxed);
        }
        f64::from_bits(last.load(Ordering::Relaxed))
    });
    let settings = Settings {
        budget: &budget,
        ..settings
    };
    let verbose = args.iter().any(|arg| arg == "--verbose");
    let solved = solve_on(&problem, &settings, threads, &mut |progress| {
        if verbose {
            eprintln!(
                "{:?} {:.1} {progress:?}",
                now() - begin,
                progress.best_cost.minor_units() as f64 / 100.0
            );
        }
    });
    check(&problem, &solved.plan).expect("the plan passes the checker");
    println!(
        "{name},{day},{seed},{seconds},{first_ms:.1},{},{},{},{}",
        first.plan.cost.total().minor_units(),
        solved.plan.cost.total().minor_units(),
        solved.plan.unplanned.len(),
        solved.iterations
    );
    if verbose {
        eprintln!("{:#?}", solved.plan.cost);
        for crew in &solved.plan.crews {
            eprintln!(
                "{} stops, load {:?}, {:?}",
                crew.stops.len(),
                crew.load_out,
                crew.totals
            );
        }
    }
}
