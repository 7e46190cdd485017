//! The command line of Forenoon as a library: the binary `forenoon` only hands its arguments over.
//!
//! Layers, each looking only downwards:
//! - `command`: what each command does, one file per subject;
//! - `import`: files of data into records of the contract, every fault with its place;
//! - `output`: answers as text for people, tab-separated lines for scripts, JSON for programs; pure functions;
//! - `desk`: the branch at hand with its clock, zone and currency;
//! - `connect`: the connection, every method of the contract, retries;
//! - `demo`: a branch to try things on, and a first morning told on it;
//! - `parse`, `names`, `failure`: words into values, and what went wrong.

pub mod command;
pub mod connect;
pub mod demo;
pub mod desk;
pub mod failure;
pub mod import;
pub mod names;
pub mod output;
pub mod parse;

use std::process::ExitCode;

use clap::Parser;

/// Runs the command that the arguments name, and says how it went by an exit code.
pub fn main() -> ExitCode {
    let cli = command::Cli::parse();
    match cli.global.color {
        command::Color::Auto => {}
        command::Color::Always => anstream::ColorChoice::Always.write_global(),
        command::Color::Never => anstream::ColorChoice::Never.write_global(),
    }
    let format = cli.global.output;
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build();
    let outcome = match runtime {
        Ok(runtime) => runtime.block_on(command::run(cli, chrono::Utc::now())),
        Err(error) => Err(failure::Failure::Other(error.to_string())),
    };
    match outcome {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            output::screen::tell_failure(&failure, format);
            ExitCode::from(failure.exit_code())
        }
    }
}
