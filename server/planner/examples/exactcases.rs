//! Prints the small cases of the exact comparison, one JSON object a line, for `tests/exact/solve.py`.
//!
//! `cargo run --release -p forenoon-planner --example exactcases | python3 server/planner/tests/exact/solve.py`

#![allow(clippy::print_stdout, reason = "prints its result")]

#[path = "../tests/support/mod.rs"]
mod support;

use support::exact_cases;

fn main() {
    for case in exact_cases::all() {
        println!("{}", exact_cases::json(case));
    }
}
