//! Searches generated problems of all kinds until so many moves have been applied, each insertion and each removal compared with
//! a full evaluation of the crew's day right after it, and each plan with what the independent checker reckons.
//!
//! `cargo run -p forenoon-planner --example moves -- [--moves N]` compares a million unless told otherwise. A release build
//! compares nothing and is refused.

#![allow(clippy::print_stdout, reason = "a program that prints what it found")]

#[path = "../tests/support/mod.rs"]
mod support;

use std::process::ExitCode;

use clap::Parser;
use forenoon_planner::check;
use support::compared::each_move;

#[derive(Parser)]
struct Options {
    /// Moves to compare.
    #[arg(long, default_value_t = 1_000_000)]
    moves: u64,
}

fn main() -> ExitCode {
    let options = Options::parse();
    if !cfg!(debug_assertions) {
        println!("a release build compares nothing: leave out --release");
        return ExitCode::FAILURE;
    }
    let (problems, found) = each_move(options.moves, |seed, problem, plan| {
        let checked = check(problem, plan);
        assert!(checked.is_ok(), "seed {seed}: {checked:?}");
    });
    println!(
        "{problems} problems: {} insertions and {} removals compared, {} of them in iterations that were kept",
        found.insertions, found.removals, found.kept
    );
    ExitCode::SUCCESS
}
