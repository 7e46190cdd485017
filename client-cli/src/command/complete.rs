//! `completions`: what a shell needs to complete commands.

use clap::CommandFactory;
use clap_complete::Shell;

use super::Cli;
use crate::failure::Failure;
use crate::output::screen::Screen;

/// How `completions` is written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Example:\n  forenoon completions bash > ~/.local/share/bash-completion/completions/forenoon"
)]
pub struct Args {
    /// The shell
    #[arg(value_enum, value_name = "SHELL")]
    shell: Shell,
}

pub(super) fn run(args: &Args, screen: &Screen) -> Result<(), Failure> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Cli::command(), "forenoon", &mut script);
    screen.print(&String::from_utf8_lossy(&script))
}
