//! Prints the small cases of the exact comparison, one JSON object a line, for `tests/exact/solve.py`.
//!
//! `cargo run --release -p forenoon-planner --example exactcases | python3 server/planner/tests/exact/solve.py`
//!
//! With `--scan several|shared|meeting FROM TO`, cases of that kind by seed instead, to choose from with `solve.py --needs`; with
//! `--search several|shared|meeting FROM TO`, what the search makes of them, to compare with what `solve.py` says; with `--rate N`,
//! in how many of the comparison's cases N seeds of the search each miss what is least, and in which.

#![allow(
    clippy::print_stdout,
    clippy::expect_used,
    reason = "prints its result"
)]

#[path = "../tests/support/mod.rs"]
mod support;

use forenoon_planner::check;
use support::exact_cases::{self, Case};
use support::planned;
use support::random_problem::problem;

fn main() {
    let args: Vec<String> = std::env::args().skip(1).collect();
    if let [what, seeds] = &args[..]
        && what == "--rate"
    {
        let seeds = seeds.parse().expect("a count of seeds");
        rate("cases", seeds, exact_cases::with_optima());
        rate("cases with meetings", seeds, exact_cases::with_meetings());
        return;
    }
    if let [what, kind, from, to] = &args[..] {
        let kinds = match kind.as_str() {
            "several" => exact_cases::SEVERAL,
            "meeting" => exact_cases::MEETING,
            _ => exact_cases::SHARED,
        };
        let number = |text: &String| text.parse::<u64>().expect("a seed");
        for seed in number(from)..number(to) {
            let case = Case { seed, kinds };
            if what == "--scan" {
                println!("{}", exact_cases::json(case));
            } else {
                println!("{seed},{}", searched(case, 1));
            }
        }
        return;
    }
    for case in exact_cases::all() {
        println!("{}", exact_cases::json(case));
    }
}

/// What the plan of the search costs, by the settings of the comparison.
fn searched(case: Case, seed: u64) -> i64 {
    let problem = problem(case.seed, case.kinds);
    let plan = planned(&problem, seed, case.iterations(), None);
    check(&problem, &plan).expect("the plan passes the checker");
    plan.cost.total().0
}

/// How often the search misses what is least.
fn rate(what: &str, seeds: u64, cases: impl Iterator<Item = (Case, i64)>) {
    let (mut missed, mut runs) = (Vec::new(), 0);
    for (case, least) in cases {
        for seed in 1..=seeds {
            runs += 1;
            if searched(case, seed) != least {
                missed.push((case.seed, seed));
            }
        }
    }
    println!("{what}: {} of {runs} missed: {missed:?}", missed.len());
}
