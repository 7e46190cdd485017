//! Plans generated days, takes a machine out at ten past ten, and prints how good proposals are after how long.
//!
//! `cargo run --release -p forenoon-planner --example midday -- [--size branch|big] [--days N] [--iterations N,...]
//! [--morning N] [--long N] [--seed N]`
//! prints CSV: iterations, day, milliseconds, milliseconds of the processor, proposals, cost of the best, cost of an unhurried search from the plan that stood, moved
//! jobs of the best, moved jobs of a plan from scratch. The last lines have the percentiles for each count of iterations.

#![allow(
    clippy::print_stdout,
    clippy::print_stderr,
    clippy::expect_used,
    reason = "a benchmark program"
)]

#[path = "../tests/support/mod.rs"]
mod support;

use std::time::Instant;

use cpu_time::ProcessTime;
use forenoon_planner::problem::{Progress, YardCall};
use forenoon_planner::replan::{ProposalSettings, as_of, propose, unit_out};
use forenoon_planner::{Cancel, Heat, Iterations, JobIx, Plan, Problem, Settings, check, solve};
use support::branch_day::{Size, parts};

/// Ten past ten on the axis of the generated days.
const NOW: i64 = 10 * 3_600 + 600;
const CALL: i64 = 600;

fn searched(problem: &Problem, iterations: u64, warm: Option<&Plan>) -> Plan {
    let settings = Settings {
        seed: 1,
        budget: &Iterations(iterations),
        cancel: &Cancel::new(),
        warm_start: warm,
        heat: if warm.is_some() {
            Heat::Gentle
        } else {
            Heat::Full
        },
    };
    solve(problem, &settings, &mut |_| {}).plan
}

/// Open jobs that change crew, leave the day or start at another time.
fn moved(problem: &Problem, before: &Plan, after: &Plan) -> usize {
    let place = |plan: &Plan, job: JobIx| {
        plan.find(job)
            .map(|(crew, at)| (crew, plan.crews[crew.ix()].stops[at].start))
    };
    let tolerance = problem.weights().moved_tolerance;
    (0..problem.jobs().len())
        .map(JobIx::from_ix)
        .filter(|job| !problem.is_frozen(*job))
        .filter(|job| match (place(before, *job), place(after, *job)) {
            (Some(was), Some(is)) => was.0 != is.0 || (was.1 - is.1).abs() > tolerance,
            (None, None) => false,
            _ => true,
        })
        .count()
}

/// What came of all days with one count of iterations.
#[derive(Default)]
struct Tally {
    times: Vec<f64>,
    processors: Vec<f64>,
    gaps: Vec<f64>,
    few: usize,
    many: usize,
}

impl Tally {
    fn print(mut self, count: u64) {
        for list in [&mut self.times, &mut self.processors, &mut self.gaps] {
            list.sort_by(f64::total_cmp);
        }
        let at =
            |list: &[f64], permille: usize| list[((list.len() - 1) * permille).div_ceil(1_000)];
        println!(
            "# {count} iterations: milliseconds p50 {:.1} p99 {:.1}, of the processor p50 {:.1} p99 {:.1}; over the unhurried p50 {:.2} % p99 {:.2} %, within 2 % {} of {} days; moved {} against {}",
            at(&self.times, 500),
            at(&self.times, 990),
            at(&self.processors, 500),
            at(&self.processors, 990),
            at(&self.gaps, 500) * 100.0,
            at(&self.gaps, 990) * 100.0,
            self.gaps.iter().filter(|gap| **gap <= 0.02).count(),
            self.gaps.len(),
            self.few,
            self.many
        );
    }
}

fn main() {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let number = |name: &str, otherwise: u64| {
        args.iter()
            .position(|arg| arg == name)
            .and_then(|at| args.get(at + 1))
            .map_or(otherwise, |text| text.parse().expect("a number"))
    };
    let size = if args.iter().any(|arg| arg == "big") {
        Size::BIG
    } else {
        Size::BRANCH
    };
    let days = number("--days", 30);
    let counts: Vec<u64> = args
        .iter()
        .position(|arg| arg == "--iterations")
        .and_then(|at| args.get(at + 1))
        .map_or("1000", String::as_str)
        .split(',')
        .map(|text| text.parse().expect("a number"))
        .collect();
    let (morning_iterations, long) = (number("--morning", 200_000), number("--long", 200_000));
    let mut tallies: Vec<Tally> = counts.iter().map(|_| Tally::default()).collect();
    println!(
        "iterations,day,milliseconds,processor_milliseconds,proposals,cost,unhurried,moved,moved_from_scratch"
    );
    for day in 1..=days {
        let (mut parts, mut service) = parts(day, size);
        // What the server has a moved visit and a new crew cost.
        parts.weights.moved_job = 1_000;
        parts.weights.changed_crew = 2_500;
        for crew in &mut parts.crews {
            crew.calls_max = 1;
            crew.yard_calls = vec![YardCall {
                place: crew.start,
                seconds: CALL,
            }];
        }
        let problem = Problem::new(parts, &mut service).expect("a problem");
        let morning = searched(&problem, morning_iterations, None);
        let now = as_of(&problem, &morning, NOW);
        let out = now.crews().iter().find_map(|crew| match &crew.progress {
            Progress::UnderWay(way) => way.aboard.first().copied(),
            Progress::NotStarted => None,
        });
        let Some(unit) = out else {
            eprintln!("day {day}: nobody is out");
            continue;
        };
        let hit = unit_out(&now, unit, NOW);
        // From scratch: the same problem without a price on change.
        let mut free = hit.parts().clone();
        for job in &mut free.jobs {
            job.previous = None;
        }
        let free = Problem::new(free, &mut service).expect("a problem");
        let scratch = searched(&free, long, None);
        let there = moved(&hit, &morning, &scratch);
        let unhurried = searched(&hit, long, Some(&morning)).cost.total().0;
        for (count, tally) in counts.iter().zip(&mut tallies) {
            let settings = ProposalSettings {
                seed: number("--seed", 1),
                budget_each: &Iterations(*count),
                cancel: &Cancel::new(),
            };
            let (begun, worked) = (Instant::now(), ProcessTime::now());
            let proposals = propose(&hit, &morning, &settings);
            let milliseconds = begun.elapsed().as_secs_f64() * 1_000.0;
            let processor = worked.elapsed().as_secs_f64() * 1_000.0;
            let best = &proposals.first().expect("a proposal").plan;
            check(&hit, best).expect("a plan within its rules");
            let cost = best.cost.total().0;
            let least = unhurried.min(cost);
            let here = moved(&hit, &morning, best);
            println!(
                "{count},{day},{milliseconds:.1},{processor:.1},{},{cost},{least},{here},{there}",
                proposals.len()
            );
            tally.times.push(milliseconds);
            tally.processors.push(processor);
            tally.gaps.push(cost as f64 / least as f64 - 1.0);
            tally.few += here;
            tally.many += there;
        }
    }
    for (count, tally) in counts.into_iter().zip(tallies) {
        tally.print(count);
    }
}
