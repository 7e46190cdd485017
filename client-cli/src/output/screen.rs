//! Printing: answers to the standard output, everything said besides to the standard error.

use std::io::{ErrorKind, IsTerminal, Write};
use std::time::Duration;

use indicatif::{ProgressBar, ProgressStyle};

use super::grid::Grid;
use super::json::{Described, json};
use super::paint;
use crate::failure::{Failure, Violation};

/// The forms of an answer.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, clap::ValueEnum)]
pub enum Format {
    /// For people.
    #[default]
    Table,
    /// Canonical proto3 JSON of the contract's messages.
    Json,
    /// Tab-separated lines without headings, columns always in the same order.
    Plain,
}

/// Lines wider than this tire the eye and do not fit on paper.
const WIDTH_MAX: usize = 100;
/// Narrower than this the layouts break.
const WIDTH_MIN: usize = 72;
/// How often the sign of progress turns.
const TICK: Duration = Duration::from_millis(120);

/// Where answers go.
#[derive(Clone, Copy, Debug)]
pub struct Screen {
    /// Their form.
    pub format: Format,
    /// Columns of text.
    pub width: usize,
}

impl Screen {
    /// The screen at hand: the terminal's width within bounds, or a page's.
    pub fn here(format: Format) -> Self {
        let width =
            terminal_size::terminal_size().map_or(WIDTH_MAX, |(width, _)| usize::from(width.0));
        Self {
            format,
            width: width.clamp(WIDTH_MIN, WIDTH_MAX),
        }
    }

    /// Prints an answer in its form.
    ///
    /// # Errors
    /// Where the standard output cannot be written.
    pub fn answer<M: Described>(
        &self,
        message: &M,
        grid: impl FnOnce() -> Grid,
        people: impl FnOnce(usize) -> String,
    ) -> Result<(), Failure> {
        match self.format {
            Format::Json => self.print(&json(message).map_err(Failure::Other)?),
            Format::Plain => self.print(&grid().plain()),
            Format::Table => self.print(&people(self.width)),
        }
    }

    /// Prints rows in their form.
    ///
    /// # Errors
    /// Where the standard output cannot be written.
    pub fn grid<M: Described>(&self, message: &M, grid: &Grid) -> Result<(), Failure> {
        self.answer(message, || grid.clone(), |width| grid.table(width))
    }

    /// Prints text to the standard output. A reader that has gone away is no failure.
    ///
    /// # Errors
    /// Where it cannot be written.
    pub fn print(&self, text: &str) -> Result<(), Failure> {
        let mut out = anstream::stdout().lock();
        match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
            Err(error) if error.kind() != ErrorKind::BrokenPipe => Err(Failure::File {
                path: "the standard output".to_owned(),
                cause: error.to_string(),
            }),
            _ => Ok(()),
        }
    }

    /// Says something to people besides the answer; nothing to scripts and programs.
    pub fn say(&self, text: &str) {
        if self.format == Format::Table {
            complain(&format!("{text}\n"));
        }
    }

    /// Shows on a terminal that something takes its time.
    pub fn busy(&self, what: &str) -> Busy {
        if self.format != Format::Table || !std::io::stderr().is_terminal() {
            return Busy {
                bar: ProgressBar::hidden(),
            };
        }
        let style = ProgressStyle::with_template("{spinner} {msg} {elapsed}")
            .unwrap_or_else(|_| ProgressStyle::default_spinner());
        let bar = ProgressBar::new_spinner().with_style(style);
        bar.set_message(what.to_owned());
        bar.enable_steady_tick(TICK);
        Busy { bar }
    }
}

/// A sign of progress, there until dropped.
#[derive(Debug)]
pub struct Busy {
    bar: ProgressBar,
}

impl Busy {
    /// Says what goes on now.
    pub fn now(&self, what: &str) {
        self.bar.set_message(what.to_owned());
    }
}

impl Drop for Busy {
    fn drop(&mut self) {
        self.bar.finish_and_clear();
    }
}

/// Writes to the standard error; that it may be closed concerns nobody.
fn complain(text: &str) {
    let _ = anstream::stderr().lock().write_all(text.as_bytes());
}

/// Tells of a failure: a sentence, each thing wrong on its own line, what to do. As JSON where that is the form.
pub fn tell_failure(failure: &Failure, format: Format) {
    complain(&match format {
        Format::Json => failure_json(failure),
        Format::Table | Format::Plain => failure_text(failure),
    });
}

fn failure_text(failure: &Failure) -> String {
    let mut text = format!("{} {failure}\n", paint::alarm("forenoon:"));
    for Violation {
        subject,
        text: reason,
    } in failure.violations()
    {
        let line = if subject.is_empty() {
            format!("  - {reason}\n")
        } else {
            format!("  - {}: {reason}\n", paint::strong(&subject))
        };
        text.push_str(&line);
    }
    if let Some(advice) = failure.advice() {
        super::text::add(&mut text, format_args!("  {advice}\n"));
    }
    text
}

fn failure_json(failure: &Failure) -> String {
    let violations: Vec<_> = failure
        .violations()
        .into_iter()
        .map(|violation| serde_json::json!({"subject": violation.subject, "text": violation.text}))
        .collect();
    let error = serde_json::json!({
        "error": {
            "exitCode": failure.exit_code(),
            "message": failure.to_string(),
            "violations": violations,
            "advice": failure.advice(),
        }
    });
    format!("{error}\n")
}

#[cfg(test)]
mod tests {
    use super::*;
    use tonic::{Code, Status};
    use tonic_types::{ErrorDetails, StatusExt};

    fn failure() -> Failure {
        let details =
            ErrorDetails::with_bad_request_violation("unit.coupling", "is missing; give one");
        Status::with_error_details(Code::InvalidArgument, "the unit is not valid", details).into()
    }

    #[test]
    fn failures_list_each_violation_on_its_line() {
        let text = anstream::adapter::strip_str(&failure_text(&failure())).to_string();
        assert_eq!(
            text,
            "forenoon: the unit is not valid\n  - unit.coupling: is missing; give one\n"
        );
        let stale: Failure = Status::aborted("the plan changed").into();
        assert!(failure_text(&stale).contains("Look again"));
    }

    #[test]
    fn failures_as_json_keep_their_exit_code() {
        let value: serde_json::Value = serde_json::from_str(&failure_json(&failure())).unwrap();
        assert_eq!(value["error"]["exitCode"], 3);
        assert_eq!(value["error"]["violations"][0]["subject"], "unit.coupling");
    }
}
