//! A month's file: written, brought to the disk, read back.

use std::collections::{BTreeSet, HashSet};
use std::fs::File;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use forenoon_store::entity::{job, photo_subject};
use forenoon_store::rows;
use forenoon_store::sea_orm::sea_query::{Expr, ExprTrait as _};
use forenoon_store::sea_orm::{
    ColumnTrait, Condition, DatabaseTransaction, EntityTrait, QueryFilter, QuerySelect,
};
use futures::StreamExt;
use serde_json::Value;
use sha2::{Digest, Sha256};

use super::days::{PARTS, WITH_PLANS, chunks};
use super::{ArchiveError, Contents, Month, file_name};
use crate::work::Error;
use crate::work::digest::hexadecimal;
use crate::work::transfer::lines::{End, Head, Last, Row, written};
use crate::work::transfer::read_through;

/// Files of one month at most: each run that is cut off leaves one.
const FILES_MAX: u32 = 1_000;

/// Writes what of a month may go, and what it refers to, into a new file of the folder.
pub(super) async fn write(
    transaction: &DatabaseTransaction,
    month: &Month,
    contents: &Contents,
    folder: &Path,
) -> Result<PathBuf, ArchiveError> {
    let (path, file) = create(month, folder)?;
    let written = fill(transaction, month, contents, file)
        .await
        .map_err(|fault| match fault {
            Fault::Work(error) => ArchiveError::Work(error),
            Fault::File(cause) => ArchiveError::File {
                path: path.clone(),
                cause,
            },
        })
        .and_then(|()| {
            File::open(folder)
                .and_then(|folder| folder.sync_all())
                .map_err(|cause| ArchiveError::File {
                    path: folder.to_owned(),
                    cause,
                })
        });
    if written.is_err() {
        // Half a file must not be taken for a month; where it cannot go, its end is missing.
        let _ = std::fs::remove_file(&path);
    }
    written.map(|()| path)
}

fn create(month: &Month, folder: &Path) -> Result<(PathBuf, File), ArchiveError> {
    let mut number = 1;
    loop {
        let path = folder.join(file_name(month, number));
        match create_new(&path) {
            Ok(file) => return Ok((path, file)),
            Err(cause) if cause.kind() == io::ErrorKind::AlreadyExists && number < FILES_MAX => {
                number += 1;
            }
            Err(cause) => return Err(ArchiveError::File { path, cause }),
        }
    }
}

/// A new file that is its owner's alone, as a backup is: it has the month's customers and all that was done for them.
fn create_new(path: &Path) -> io::Result<File> {
    let mut options = File::options();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options.open(path)
}

enum Fault {
    Work(Error),
    File(io::Error),
}

impl<E: Into<Error>> From<E> for Fault {
    fn from(error: E) -> Self {
        Self::Work(error.into())
    }
}

async fn fill(
    transaction: &DatabaseTransaction,
    month: &Month,
    contents: &Contents,
    file: File,
) -> Result<(), Fault> {
    let branch = month.branch.id.as_str();
    let jobs = contents.jobs();
    let photos = photos_of(transaction, branch, &jobs).await?;
    let mut lines = Lines {
        file: BufWriter::new(file),
        digest: Sha256::new(),
        rows: 0,
    };
    lines
        .write(&written(&Head::of(branch))?)
        .map_err(Fault::File)?;
    for table in rows::TABLES {
        let parts: Vec<Option<Condition>> = match *table {
            "branch" | "unit" | "crew" | "worker" | "site" | "branch_sequence" => vec![None],
            "job" => chunks(&jobs)
                .into_iter()
                .map(|ids| Some(Condition::all().add(job::Column::Id.is_in(ids))))
                .collect(),
            "plan" => contents
                .days
                .iter()
                .map(|day| Some(day.of_plans()))
                .collect(),
            table if PARTS.contains(&table) || WITH_PLANS.contains(&table) => contents
                .days
                .iter()
                .map(|day| Some(day.with_plans()))
                .collect(),
            "photo" | "photo_part" => chunks(&photos)
                .into_iter()
                .map(|ids| Some(Condition::all().add(Expr::col("sha256").is_in(ids))))
                .collect(),
            "photo_subject" => chunks(&jobs)
                .into_iter()
                .map(|ids| Some(of_jobs(branch, &ids)))
                .collect(),
            "audit_entry" | "outbox_event" => contents
                .numbers
                .iter()
                .map(|numbers| Some(numbers.rows()))
                .collect(),
            // Kept in the database.
            _ => vec![],
        };
        for part in parts {
            let mut rows = rows::rows(transaction, table, branch, part).await?;
            while let Some(row) = rows.next().await {
                let table = (*table).to_owned();
                let row = row?;
                let line = Row { table, row }.written()?;
                lines.write(&line).map_err(Fault::File)?;
                lines.rows += 1;
            }
        }
    }
    lines.end()
}

/// The photographs of jobs.
pub(super) async fn photos_of(
    transaction: &DatabaseTransaction,
    branch: &str,
    jobs: &BTreeSet<String>,
) -> Result<BTreeSet<String>, Error> {
    let mut photos = BTreeSet::new();
    for ids in chunks(jobs) {
        let some: Vec<String> = photo_subject::Entity::find()
            .select_only()
            .column(photo_subject::Column::Sha256)
            .filter(photo_subject::Column::BranchId.eq(branch))
            .filter(of_jobs(branch, &ids))
            .into_tuple()
            .all(transaction)
            .await?;
        photos.extend(some);
    }
    Ok(photos)
}

/// What says that a photograph is of one of the jobs.
pub(super) fn of_jobs(branch: &str, jobs: &[String]) -> Condition {
    let names = jobs.iter().map(|id| crate::work::job::name(branch, id));
    Condition::all().add(photo_subject::Column::Subject.is_in(names))
}

struct Lines {
    file: BufWriter<File>,
    digest: Sha256,
    rows: u64,
}

impl Lines {
    fn write(&mut self, text: &[u8]) -> io::Result<()> {
        self.digest.update(text);
        self.file.write_all(text)
    }

    fn end(mut self) -> Result<(), Fault> {
        let end = End {
            rows: self.rows,
            sha256: hexadecimal(&self.digest.clone().finalize()),
        };
        let last = written(&Last { end })?;
        self.write(&last)
            .and_then(|()| self.file.flush())
            .and_then(|()| self.file.get_ref().sync_all())
            .map_err(Fault::File)
    }
}

/// What a file was found to have.
pub(super) struct Filed {
    /// Its name, without the folder.
    pub(super) name: String,
    /// Rows in it.
    pub(super) rows: u64,
    /// The digest that its last line tells.
    pub(super) sha256: String,
    digests: HashSet<[u8; 32]>,
}

impl Filed {
    /// Reads a file from its beginning to its end. One that cannot be read is removed: nothing has gone for its sake, and
    /// the next run would only leave another.
    pub(super) fn read_back(path: &Path, branch: &str) -> Result<Self, ArchiveError> {
        let read = Self::read(path, branch);
        if read.is_err() {
            let _ = std::fs::remove_file(path);
        }
        read
    }

    fn read(path: &Path, branch: &str) -> Result<Self, ArchiveError> {
        let file = File::open(path).map_err(|cause| ArchiveError::File {
            path: path.to_owned(),
            cause,
        })?;
        let mut digests = HashSet::new();
        let each = |line: &str| {
            let Row { table, row } = serde_json::from_str(line)
                .map_err(|error| Error::Internal(format!("a line read back: {error}")))?;
            digests.insert(digest(&table, &row));
            Ok(())
        };
        let End { rows, sha256 } =
            read_through(&file, branch, each).map_err(|error| match error {
                Error::Invalid(faults) => ArchiveError::Unreadable {
                    path: path.to_owned(),
                    faults,
                },
                error => ArchiveError::Work(error),
            })?;
        Ok(Self {
            name: path
                .file_name()
                .map(|name| name.to_string_lossy().into_owned())
                .unwrap_or_default(),
            rows,
            sha256,
            digests,
        })
    }

    /// Whether a row is in the file, as it stands.
    pub(super) fn has(&self, table: &str, row: &Value) -> bool {
        self.digests.contains(&digest(table, row))
    }
}

fn digest(table: &str, row: &Value) -> [u8; 32] {
    let mut digest = Sha256::new();
    digest.update(table);
    digest.update([0]);
    digest.update(row.to_string());
    digest.finalize().into()
}
