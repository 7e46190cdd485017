//! Runs a command with the addresses of empty PostgreSQL databases as its last arguments, on a cluster that goes with it.
//!
//! `cargo run --release -p forenoon-tests --example on_postgres -- 2 target/release/examples/growth 1300`

#![expect(
    clippy::expect_used,
    reason = "a measurement stops with what went wrong"
)]

use std::env;
use std::process::{Command, ExitCode};

use forenoon_tests::database::Database;

fn main() -> ExitCode {
    let mut arguments = env::args().skip(1);
    let count: usize = arguments
        .next()
        .and_then(|word| word.parse().ok())
        .expect("a number of databases");
    let program = arguments.next().expect("a command");
    let databases: Vec<Database> = (0..count).map(|_| Database::postgres()).collect();
    let status = Command::new(program)
        .args(arguments)
        .args(databases.iter().map(Database::url))
        .status()
        .expect("the command runs");
    if status.success() {
        ExitCode::SUCCESS
    } else {
        ExitCode::FAILURE
    }
}
