//! Old days leave the database for files, month by month.
//!
//! A month is written to a file of its own in the format of an exported branch, with the branch, its units, crews, workers
//! and sites beside it: so that any server on an empty database brings it in and shows it. The file is brought to the disk
//! and read back. Then the days go one by one, each in a transaction of its own that finds every row it deletes in the file
//! as it stands; a row that has changed since keeps its day back, and a photograph stored since its job. A crash in between
//! loses nothing: what has not gone is written again by the next run, to another file.
//!
//! What is younger than [`DAYS_KEPT_LEAST`] stays whole, since estimates learn from it. Of older days there stay: what is
//! not over (a visited job that is open, an open case or tag that names a job of the day keeps the whole day back), every
//! tag-out and service of a unit, every case, jobs that these name, and the hours that units ran (`bench/settle.rs`).

mod days;
mod file;
mod record;
mod remove;
mod remove_jobs;

use std::collections::BTreeSet;
use std::io;
use std::path::{Path, PathBuf};

use chrono::{DateTime, Datelike, Days, Months, NaiveDate, Utc};
use forenoon_store::entity::branch;
use forenoon_store::sea_orm::DatabaseTransaction;
use forenoon_store::{Database, StoreError};

use self::days::DayRows;
use self::file::Filed;
use self::record::Numbers;
use self::remove::{RemoveDay, RemoveRecord};
use crate::work::plan::clock;
use crate::work::{Call, Clock, Error, Outcome, Violation, bench, branch as branches, run_command};

/// Estimates learn from visits of 400 days; the day itself is one more.
pub const DAYS_KEPT_LEAST: u32 = 401;
/// Entries and events that one transaction deletes.
const NUMBERS_PER_STEP: i64 = 1_000;

/// Why days were not archived. What had gone before is in its files.
#[derive(Debug, thiserror::Error)]
pub enum ArchiveError {
    /// The use cases' own.
    #[error(transparent)]
    Work(#[from] Error),
    /// Too few days would stay.
    #[error("{0} days are too few to keep; estimates need {DAYS_KEPT_LEAST} at least")]
    TooFew(u32),
    /// A file cannot be written or read.
    #[error("{}: {cause}", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// The system's words.
        cause: io::Error,
    },
    /// A file was not read back as it was written.
    #[error("{} was not read back whole and is removed; {}", path.display(), told(.faults))]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What is wrong with it, line by line.
        faults: Vec<Violation>,
    },
}

fn told(faults: &[Violation]) -> String {
    let words = faults.iter().map(|fault| {
        let Violation {
            field, description, ..
        } = fault;
        format!("{field} {description}")
    });
    words.collect::<Vec<_>>().join("; ")
}

impl From<StoreError> for ArchiveError {
    fn from(error: StoreError) -> Self {
        Self::Work(error.into())
    }
}

/// A month that was archived, or a part of it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ArchivedMonth {
    /// Its first day.
    pub first: NaiveDate,
    /// Where its rows are; none where nothing of it may go now.
    pub file: Option<PathBuf>,
    /// Rows in the file.
    pub filed: u64,
    /// Rows that have gone from the database.
    pub removed: u64,
    /// Days that stay for now, each with the reason.
    pub held: Vec<(NaiveDate, String)>,
}

/// From when to when a month lasts, and what is old enough.
#[derive(Clone, Debug)]
struct Month {
    branch: branch::Model,
    first: NaiveDate,
    /// The first day after it.
    end: NaiveDate,
    /// The same as an instant.
    end_time: DateTime<Utc>,
    /// Hours are summed up to here.
    settled: DateTime<Utc>,
}

/// Archives the months of a branch that are wholly older than a number of days, into a folder.
///
/// # Errors
/// Where the branch is not there, fewer than [`DAYS_KEPT_LEAST`] days are to stay, or a file cannot be written.
pub async fn archive(
    database: &Database,
    clock_of_all: &dyn Clock,
    id: &str,
    days_kept: u32,
    folder: &Path,
) -> Result<Vec<ArchivedMonth>, ArchiveError> {
    if days_kept < DAYS_KEPT_LEAST {
        return Err(ArchiveError::TooFew(days_kept));
    }
    let now = clock_of_all.now();
    let branch = branches::get(database.read(), id).await?;
    bench::settle(database, id, now).await?;
    let cutoff = branches::local_day(&branch, now)? - Days::new(u64::from(days_kept));
    let mut archived = Vec::new();
    let Some(mut first) = oldest(database, &branch).await? else {
        return Ok(archived);
    };
    loop {
        let end = first + Months::new(1);
        if end > cutoff {
            return Ok(archived);
        }
        let month = Month {
            end_time: clock(&branch, end)?.instant(0),
            settled: bench::settled_until(database.read(), id)
                .await?
                .unwrap_or(DateTime::<Utc>::MIN_UTC),
            branch: branch.clone(),
            first,
            end,
        };
        archived.extend(archive_month(database, clock_of_all, &month, folder).await?);
        first = end;
    }
}

/// The first day of the month of the oldest thing that may go.
async fn oldest(
    database: &Database,
    branch: &branch::Model,
) -> Result<Option<NaiveDate>, ArchiveError> {
    let day = days::first_day(database.read(), &branch.id).await?;
    let recorded = match record::first_time(database.read(), &branch.id).await? {
        Some(at) => Some(branches::local_day(branch, at)?),
        None => None,
    };
    Ok(day
        .into_iter()
        .chain(recorded)
        .min()
        .and_then(|day| day.with_day(1)))
}

/// What of a month may go, as one moment shows it.
struct Contents {
    days: Vec<DayRows>,
    numbers: Option<Numbers>,
    held: Vec<(NaiveDate, String)>,
}

impl Contents {
    async fn read(transaction: &DatabaseTransaction, month: &Month) -> Result<Self, Error> {
        let mut days = Vec::new();
        let mut held = Vec::new();
        for day in days::days_between(transaction, &month.branch.id, month.first, month.end).await?
        {
            let rows = DayRows::read(transaction, month, day).await?;
            match rows.held {
                Some(reason) => held.push((day, reason)),
                None if rows.is_empty() => {}
                None => days.push(rows),
            }
        }
        let numbers = Numbers::before(transaction, &month.branch.id, month.end_time).await?;
        Ok(Self {
            days,
            numbers,
            held,
        })
    }

    /// All jobs that the days name.
    fn jobs(&self) -> BTreeSet<String> {
        self.days
            .iter()
            .flat_map(|day| day.named.iter().chain(&day.going))
            .cloned()
            .collect()
    }
}

async fn archive_month(
    database: &Database,
    clock_of_all: &dyn Clock,
    month: &Month,
    folder: &Path,
) -> Result<Option<ArchivedMonth>, ArchiveError> {
    let transaction = database.begin_read().await?;
    let contents = Contents::read(&transaction, month).await?;
    if contents.days.is_empty() && contents.numbers.is_none() {
        // Days that stay for now are told, though nothing goes.
        return Ok((!contents.held.is_empty()).then_some(ArchivedMonth {
            first: month.first,
            file: None,
            filed: 0,
            removed: 0,
            held: contents.held,
        }));
    }
    let path = file::write(&transaction, month, &contents, folder).await?;
    transaction
        .commit()
        .await
        .map_err(|error| Error::Store(error.into()))?;
    let filed = Filed::read_back(&path, &month.branch.id)?;
    let mut archived = ArchivedMonth {
        first: month.first,
        filed: filed.rows,
        file: Some(path),
        removed: 0,
        held: contents.held,
    };
    for rows in &contents.days {
        let removal = RemoveDay {
            month,
            day: rows.day,
            filed: &filed,
        };
        match run(database, clock_of_all, month, &removal).await? {
            Ok(count) => archived.removed += count,
            Err(reason) => archived.held.push((rows.day, reason)),
        }
    }
    if let Some(Numbers { first, end }) = contents.numbers {
        let mut next = first;
        while next < end {
            let removal = RemoveRecord {
                branch: &month.branch.id,
                numbers: Numbers {
                    first: next,
                    end: Ord::min(end, next + NUMBERS_PER_STEP),
                },
                filed: &filed,
            };
            next = removal.numbers.end;
            archived.removed += run(database, clock_of_all, month, &removal).await?;
        }
    }
    Ok(Some(archived))
}

async fn run<C: crate::work::Command>(
    database: &Database,
    clock_of_all: &dyn Clock,
    month: &Month,
    command: &C,
) -> Result<C::Answer, Error> {
    let call = Call {
        actor: "archive".to_owned(),
        branch: month.branch.id.clone(),
        method: "archive",
        retry: None,
    };
    match run_command(database, clock_of_all, &call, command, &|_| Vec::new()).await? {
        Outcome::Done(answer) => Ok(answer),
        Outcome::Replayed(_) => Err(Error::Internal(
            "a call without an id came again".to_owned(),
        )),
    }
}

/// The name of a month's file, `number` counted from 1.
fn file_name(month: &Month, number: u32) -> String {
    let (year, of_year) = (month.first.year(), month.first.month());
    let again = if number > 1 {
        format!("-{number}")
    } else {
        String::new()
    };
    format!("{}-{year:04}-{of_year:02}{again}.jsonl", month.branch.id)
}
