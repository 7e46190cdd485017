//! Runs this program's own commands as a reader would, each shown before its answer.

use std::ffi::OsString;
use std::path::PathBuf;
use std::process::Stdio;

use tokio::process::Command;

use super::BRANCH_ID;
use crate::failure::Failure;
use crate::output::paint;
use crate::output::screen::Screen;
use crate::output::text::whole_words;

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
        let options = whole_words(self.screen.width)
            .word_separator(textwrap::WordSeparator::AsciiSpace)
            .wrap_algorithm(textwrap::WrapAlgorithm::FirstFit);
        let text = textwrap::fill(text, options);
        self.screen.print(&format!("{text}\n"))
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
        let shown = wrapped(arguments, self.screen.width.saturating_sub(2));
        self.screen
            .print(&format!("\n{}\n", paint::well(&format!("$ {shown}"))))?;
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
    wrapped(arguments, usize::MAX)
}

/// The same on lines of at most so many characters where the words allow, as a shell goes on after a backslash.
fn wrapped(arguments: &[&str], width: usize) -> String {
    const GOES_ON: &str = " \\\n      ";
    let mut text = "forenoon".to_owned();
    let mut column = text.len();
    for word in options_with_values(arguments) {
        // A blank before the word, and a blank and a backslash after it.
        let length = word.chars().count();
        if column.saturating_add(length + 3) > width {
            text.push_str(GOES_ON);
            column = 6 + length;
        } else {
            text.push(' ');
            column += 1 + length;
        }
        text.push_str(&word);
    }
    text
}

/// The words, an option and its value as one.
fn options_with_values(arguments: &[&str]) -> Vec<String> {
    let mut words: Vec<String> = Vec::new();
    let mut after_option = false;
    for argument in arguments {
        let option = argument.starts_with("--");
        match words.last_mut() {
            Some(last) if after_option && !option => {
                last.push(' ');
                last.push_str(&quoted(argument));
            }
            _ => words.push(quoted(argument)),
        }
        after_option = option;
    }
    words
}

fn quoted(argument: &str) -> String {
    let plain = |sign: char| sign.is_ascii_alphanumeric() || "-_./:,=+@%".contains(sign);
    if !argument.is_empty() && argument.chars().all(plain) {
        argument.to_owned()
    } else {
        format!("'{}'", argument.replace('\'', r"'\''"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_long_command_goes_on_after_a_backslash() {
        let shown = wrapped(&["plan", "--day", "2027-04-20", "--seed", "7"], 24);
        assert_eq!(
            shown,
            "forenoon plan \\\n      --day 2027-04-20 \\\n      --seed 7"
        );
        assert!(shown.lines().all(|line| line.len() <= 24));
    }

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
