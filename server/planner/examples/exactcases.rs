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
        rate(seeds.parse().expect("a count of seeds"));
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

/// Iterations for cases with meetings, which take longer to come upon, and for the others.
const ITERATIONS: [u64; 2] = [24_000, 6_000];

/// What the plan of the search costs, by the settings of the comparison.
fn searched(case: Case, seed: u64) -> i64 {
    let problem = problem(case.seed, case.kinds);
    let [meeting, other] = ITERATIONS;
    let iterations = if case.kinds.meet { meeting } else { other };
    let plan = planned(&problem, seed, iterations, None);
    check(&problem, &plan).expect("the plan passes the checker");
    plan.cost.total().0
}

/// How often the search misses what is least.
fn rate(seeds: u64) {
    let optima = include_str!("../tests/exact/optima.csv");
    let meetings = include_str!("../tests/exact/meetings.csv");
    let kinds = exact_cases::MEETING;
    let met = known(meetings).map(|(seed, least)| (Case { seed, kinds }, least));
    let others = exact_cases::all().zip(known(optima));
    let others = others.map(|(case, (seed, least))| {
        assert_eq!(case.seed, seed);
        (case, least)
    });
    tell("cases", seeds, others);
    tell("cases with meetings", seeds, met);
}

/// Seeds and what each costs at the least, by the model.
fn known(csv: &str) -> impl Iterator<Item = (u64, i64)> {
    csv.lines().skip(1).map(|line| {
        let (seed, least) = line.split_once(',').expect("a seed and a cost");
        let least = least.parse().expect("a cost");
        (seed.parse().expect("a seed"), least)
    })
}

fn tell(what: &str, seeds: u64, cases: impl Iterator<Item = (Case, i64)>) {
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
