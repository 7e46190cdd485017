//! Runs this program's own commands as a reader would, each shown before its answer.

use std::ffi::OsString;
use std::path::PathBuf;
use std::process::Stdio;

use tokio::process::Command;

use super::BRANCH_ID;
use crate::failure::Failure;
use crate::output::paint;
use crate::output::screen::Screen;

/// This program, pointed at the demo's server.
pub(super) struct Shell {
    program: PathBuf,
    server: String,
    screen: Screen,
}

impl Shell {
    /// A shell for a server.
    ///
    /// # Errors
    /// Where this program's own place is unknown.
    pub(super) fn new(server: &str, screen: Screen) -> Result<Self, Failure> {
        let program = std::env::current_exe().map_err(|cause| {
            Failure::Other(format!("this program's own place is unknown: {cause}"))
        })?;
        Ok(Self {
            program,
            server: server.to_owned(),
            screen,
        })
    }

    /// Says something.
    ///
    /// # Errors
    /// Where the standard output can't be written.
    pub(super) fn say(&self, text: &str) -> Result<(), Failure> {
        self.screen
            .print(&format!("{}\n", textwrap::fill(text, self.screen.width)))
    }

    /// Begins a step of the story.
    ///
    /// # Errors
    /// Where the standard output can't be written.
    pub(super) fn step(&self, number: u32, title: &str, why: &str) -> Result<(), Failure> {
        self.screen.print(&format!(
            "\n\n{}\n",
            paint::strong(&format!("{number}. {title}"))
        ))?;
        self.say(why)
    }

    /// Shows a command and runs it. Its answer and its complaints go where this program's go.
    ///
    /// # Errors
    /// A command that can't be started, or that ends with another exit code than 0.
    pub(super) async fn run(&self, arguments: &[&str]) -> Result<(), Failure> {
        let line = command_line(arguments);
        self.screen
            .print(&format!("\n{}\n", paint::well(&format!("$ {line}"))))?;
        let mut command = Command::new(&self.program);
        command
            .args(arguments)
            .env("FORENOON_SERVER", &self.server)
            .env("FORENOON_BRANCH", BRANCH_ID)
            .stdin(Stdio::null())
            .kill_on_drop(true);
        if let Some((name, value)) = colour_wish() {
            command.env(name, value);
        }
        let status = command
            .status()
            .await
            .map_err(|cause| Failure::Other(format!("`{line}` can't be run: {cause}")))?;
        if status.success() {
            Ok(())
        } else {
            Err(Failure::Other(format!(
                "the demo stops here: `{line}` ended with {status}"
            )))
        }
    }
}

/// `--color` as the variables that a program of its own heeds.
fn colour_wish() -> Option<(&'static str, OsString)> {
    match anstream::ColorChoice::global() {
        anstream::ColorChoice::Always | anstream::ColorChoice::AlwaysAnsi => {
            Some(("CLICOLOR_FORCE", "1".into()))
        }
        anstream::ColorChoice::Never => Some(("NO_COLOR", "1".into())),
        anstream::ColorChoice::Auto => None,
    }
}

/// A command as it is typed, with quotes where words have blanks in them.
fn command_line(arguments: &[&str]) -> String {
    let mut line = "forenoon".to_owned();
    for argument in arguments {
        line.push(' ');
        if argument.is_empty()
            || argument.contains(|sign: char| sign.is_whitespace() || "\"'$&;|()".contains(sign))
        {
            line.push('\'');
            line.push_str(&argument.replace('\'', r"'\''"));
            line.push('\'');
        } else {
            line.push_str(argument);
        }
    }
    line
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_command_is_shown_as_a_shell_takes_it() {
        assert_eq!(
            command_line(&["plan", "2027-04-20"]),
            "forenoon plan 2027-04-20"
        );
        assert_eq!(
            command_line(&["replan", "--cause", "blade cracked"]),
            "forenoon replan --cause 'blade cracked'"
        );
        assert_eq!(
            command_line(&["--note", "it's loud", ""]),
            r"forenoon --note 'it'\''s loud' ''"
        );
    }
}
