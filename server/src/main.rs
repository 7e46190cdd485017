//! The program `forenoon-server`: everything is in the library.

use std::io::Write;
use std::process::ExitCode;

use clap::Parser;
use forenoon_server::config::Arguments;
use mimalloc::MiMalloc;

/// A re-plan makes and drops some hundred thousand small things on several threads at once.
#[global_allocator]
static ALLOCATOR: MiMalloc = MiMalloc;

fn main() -> ExitCode {
    match forenoon_server::run(Arguments::parse()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            // Where even this cannot be said, the exit code still tells.
            let _ = writeln!(std::io::stderr(), "forenoon-server: {error}");
            ExitCode::from(error.exit_code())
        }
    }
}
