//! The `demo` command: a server of its own, a story told on it, and a clean end.

use std::path::{Path, PathBuf};

use chrono::{DateTime, Datelike, NaiveDate, Utc, Weekday};
use tempfile::TempDir;

use super::host::{self, Host};
use super::shell::Shell;
use super::story::Story;
use super::{BRANCH_ID, branch, files, measure};
use crate::failure::Failure;
use crate::output::screen::{Format, Screen};
use crate::parse;

/// How `demo` is written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Needs no running server: it starts one of its own, on a free port and a fresh directory, and stops \
                        it at the end.\n\n\
                        Examples:\n  forenoon demo\n  forenoon demo --data data/demo --stay\n  \
                        forenoon demo --write branch-data"
)]
pub struct Args {
    /// Keep the server's database and the branch's files in this directory, which must hold no database yet
    #[arg(long, value_name = "DIRECTORY", conflicts_with = "write")]
    data: Option<PathBuf>,
    /// Keep them where they are, in a temporary directory, and say where
    #[arg(long, conflicts_with_all = ["data", "write"])]
    keep: bool,
    /// Leave the server running after the story, until Ctrl-C
    #[arg(long, conflicts_with = "write")]
    stay: bool,
    /// Print every crew's sheet
    #[arg(long, conflicts_with = "write")]
    all_sheets: bool,
    /// The server's program [default: forenoon-server beside this one]
    #[arg(long, value_name = "FILE", conflicts_with = "write")]
    program: Option<PathBuf>,
    /// Only write the branch as files for `forenoon import`, into this directory
    #[arg(long, value_name = "DIRECTORY")]
    write: Option<PathBuf>,
    /// The day to plan: tomorrow, a weekday, +3 or a date [default: the next working day]
    #[arg(long, value_name = "DAY")]
    day: Option<String>,
    /// Seed of the branch: the same seed and day give the same branch
    #[arg(long, default_value_t = 7, value_name = "NUMBER")]
    seed: u64,
}

/// Runs it.
///
/// # Errors
/// Whatever stops it. The server is stopped all the same.
pub async fn run(args: &Args, now: DateTime<Utc>) -> Result<(), Failure> {
    // The story is for people to read; its commands have forms for programs.
    let screen = Screen::here(Format::Table);
    let today = now.with_timezone(&measure::ZONE).date_naive();
    let day = match &args.day {
        Some(text) => parse::day::day(text, today)?,
        None => next_working_day(today),
    };
    if let Some(folder) = &args.write {
        let written = files::write(&branch(args.seed, day), folder)?;
        return screen.print(&format!(
            "{} files with work from {day} on are in {}; make a branch and bring them in:\n  \
             forenoon branch create --help\n  forenoon import {}\n",
            written.len(),
            folder.display(),
            folder.display()
        ));
    }
    let place = Place::choose(args)?;
    let program = args.program.clone().map_or_else(host::program, Ok)?;
    let host = Host::start(&program, place.path()).await?;
    let told = tokio::select! {
        told = tell(args, &screen, &host, place.path(), day) => told,
        interrupted = tokio::signal::ctrl_c() => Err(Failure::Other(match interrupted {
            Ok(()) => "interrupted; the server is stopped".to_owned(),
            Err(cause) => format!("signals can't be heard: {cause}"),
        })),
    };
    // Stopped whether the story came to its end or not.
    let stopped = host.stop().await;
    told?;
    stopped?;
    place.leave(&screen, day)
}

async fn tell(
    args: &Args,
    screen: &Screen,
    host: &Host,
    place: &Path,
    day: NaiveDate,
) -> Result<(), Failure> {
    let shell = Shell::new(host.server(), *screen)?;
    shell.say(&format!(
        "Larkmoor Grounds keeps lawns and grounds in Larkmoor, Tamsin County: a company and a town that do not exist. \
         Its server listens at {}; what it knows is in {}. The commands below find it by two variables:",
        host.server(),
        place.display()
    ))?;
    screen.print(&format!(
        "  export FORENOON_SERVER={} FORENOON_BRANCH={BRANCH_ID}\n",
        host.server()
    ))?;
    let demo = branch(args.seed, day);
    let link = host.link()?;
    let files = place.join("files");
    let story = Story {
        shell: &shell,
        link: &link,
        demo: &demo,
        day,
        files: &files,
        all_sheets: args.all_sheets,
    };
    story.tell().await?;
    if args.stay {
        screen.print(&format!(
            "\n\nThe server stays at {} until Ctrl-C. From another terminal:\n  \
             export FORENOON_SERVER={} FORENOON_BRANCH={BRANCH_ID}\n  forenoon day {day}\n",
            host.server(),
            host.server()
        ))?;
        tokio::signal::ctrl_c()
            .await
            .map_err(|cause| Failure::Other(format!("signals can't be heard: {cause}")))?;
    }
    Ok(())
}

/// The first day after `today` that is neither Saturday nor Sunday.
fn next_working_day(today: NaiveDate) -> NaiveDate {
    let days = match today.weekday() {
        Weekday::Fri => 3,
        Weekday::Sat => 2,
        _ => 1,
    };
    measure::later(today, days)
}

/// Where the server's data is.
enum Place {
    /// In a directory that was named, or that is to be kept.
    Kept(PathBuf),
    /// In a directory that goes with the demo.
    Passing(TempDir),
}

impl Place {
    fn choose(args: &Args) -> Result<Self, Failure> {
        if let Some(path) = &args.data {
            let database = host::database(path);
            if database.exists() {
                return Err(Failure::Usage(format!(
                    "there is a database at {} already; name another directory, or serve it: forenoon-server --database {}",
                    database.display(),
                    host::database_url(path)
                )));
            }
            std::fs::create_dir_all(path).map_err(|cause| Failure::File {
                path: path.display().to_string(),
                cause: cause.to_string(),
            })?;
            return Ok(Self::Kept(path.clone()));
        }
        let passing = tempfile::Builder::new().prefix("forenoon-demo-").tempdir();
        let passing = passing.map_err(|cause| {
            Failure::Other(format!(
                "there is no place for a temporary directory: {cause}"
            ))
        })?;
        Ok(if args.keep {
            Self::Kept(passing.keep())
        } else {
            Self::Passing(passing)
        })
    }

    fn path(&self) -> &Path {
        match self {
            Self::Kept(path) => path,
            Self::Passing(directory) => directory.path(),
        }
    }

    /// Says how to go on, now that the server is stopped.
    fn leave(self, screen: &Screen, day: NaiveDate) -> Result<(), Failure> {
        let (before, directory) = match &self {
            Self::Kept(path) => (String::new(), path.clone()),
            Self::Passing(_) => (
                "  forenoon demo --data data/demo\n".to_owned(),
                PathBuf::from("data/demo"),
            ),
        };
        let gone = match self {
            Self::Kept(_) => "",
            Self::Passing(_) => " and its data is gone",
        };
        screen.print(&format!(
            "\n\nThat was the morning. The server is stopped{gone}. To keep one running and talk to it:\n{before}  \
             forenoon-server --database {} &\n  forenoon day {day}\n  forenoon --help\n",
            host::database_url(&directory)
        ))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_next_working_day_leaves_the_weekend_out() {
        let day = |day| NaiveDate::from_ymd_opt(2027, 4, day).unwrap();
        assert_eq!(next_working_day(day(19)), day(20), "Monday");
        assert_eq!(next_working_day(day(22)), day(23), "Thursday");
        for end_of_week in [23, 24, 25] {
            assert_eq!(next_working_day(day(end_of_week)), day(26));
        }
    }

    #[test]
    fn a_directory_with_a_database_is_refused_and_left_alone() {
        let directory = tempfile::tempdir().unwrap();
        let database = host::database(directory.path());
        std::fs::write(&database, "precious").unwrap();
        let args = Args {
            data: Some(directory.path().to_owned()),
            keep: false,
            stay: false,
            all_sheets: false,
            program: None,
            write: None,
            day: None,
            seed: 7,
        };
        let failure = Place::choose(&args).err().unwrap();
        assert_eq!(failure.exit_code(), crate::failure::exit::USAGE);
        assert_eq!(std::fs::read_to_string(database).unwrap(), "precious");
    }
}
