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

/// How often is looked whether anybody reads.
#[cfg(unix)]
const LOOK_AGAIN: Duration = Duration::from_millis(500);

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
        let (Reader::There | Reader::Gone) = write(&mut anstream::stdout().lock(), text)?;
        Ok(())
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

/// Whether anybody reads what is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[must_use = "who prints without end stops where nobody reads"]
pub enum Reader {
    /// As far as is known.
    There,
    /// Whatever is written goes nowhere.
    Gone,
}

/// Writes text at once, and tells whether anybody reads it.
///
/// # Errors
/// Where it cannot be written though there is a reader.
pub fn write(out: &mut impl Write, text: &str) -> Result<Reader, Failure> {
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Ok(()) => Ok(Reader::There),
        Err(error) if error.kind() == ErrorKind::BrokenPipe => Ok(Reader::Gone),
        Err(error) => Err(Failure::File {
            path: "the standard output".to_owned(),
            cause: error.to_string(),
        }),
    }
}

/// Waits until nobody reads the standard output any more, which writing shows only where there is something to write.
pub async fn reader_gone() {
    #[cfg(unix)]
    gone_from(&std::io::stdout()).await;
    #[cfg(not(unix))]
    std::future::pending::<()>().await;
}

#[cfg(unix)]
async fn gone_from(out: &impl std::os::fd::AsFd) {
    use rustix::event::{PollFd, PollFlags, Timespec, poll};
    let at_once = Timespec::default();
    loop {
        // Nothing is waited for: a reader that has gone is told in any case.
        let mut looked = [PollFd::new(out, PollFlags::empty())];
        let told = poll(&mut looked, Some(&at_once)).is_ok();
        let [looked] = looked;
        if told && looked.revents().intersects(PollFlags::ERR | PollFlags::HUP) {
            return;
        }
        tokio::time::sleep(LOOK_AGAIN).await;
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
    fn a_reader_that_has_gone_is_told_from_one_that_is_there() {
        let (reader, mut out) = std::io::pipe().unwrap();
        assert_eq!(write(&mut out, "1\n").unwrap(), Reader::There);
        drop(reader);
        assert_eq!(write(&mut out, "2\n").unwrap(), Reader::Gone);
    }

    #[cfg(unix)]
    #[tokio::test]
    async fn a_reader_is_missed_without_a_word_to_write() {
        let within = |limit, out| async move {
            let gone = gone_from(&out);
            tokio::time::timeout(limit, gone).await.is_ok()
        };
        let (reader, out) = std::io::pipe().unwrap();
        let other = out.try_clone().unwrap();
        assert!(!within(LOOK_AGAIN / 10, other).await, "it is there");
        drop(reader);
        assert!(within(LOOK_AGAIN * 20, out).await, "it is gone");
    }

    #[test]
    fn failures_as_json_keep_their_exit_code() {
        let value: serde_json::Value = serde_json::from_str(&failure_json(&failure())).unwrap();
        assert_eq!(value["error"]["exitCode"], 3);
        assert_eq!(value["error"]["violations"][0]["subject"], "unit.coupling");
    }
}
