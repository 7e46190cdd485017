//! The binary `forenoon`.

use std::process::ExitCode;

fn main() -> ExitCode {
    forenoon_cli::main()
}
