//! Brings an exported branch in, in one transaction.
//!
//! What comes is kept in an unnamed file until its end is there and its digest is right, so that a transfer that breaks
//! off costs the database nothing, and the transaction is as short as it can be.

use std::fs::File;
use std::io::{self, BufRead, BufReader, Read, Seek, SeekFrom, Write as _};
use std::sync::{Mutex, PoisonError};

use chrono::{DateTime, Utc};
use forenoon_store::entity::{audit_entry, branch};
use forenoon_store::rows::{FillError, Filler, ONE_FOR_EACH_BRANCH};
use forenoon_store::sea_orm::{
    ColumnTrait, DatabaseTransaction, EntityTrait, PaginatorTrait, QueryFilter,
};
use forenoon_store::{StoreError, UniqueRule};
use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::json;
use sha2::{Digest, Sha256};

use super::lines::{End, Head, LINE_BYTES_MAX, Last, Row, RowOfWhom};
use crate::work::digest::hexadecimal;
use crate::work::{Accepted, Change, Command, Error, ObstacleKind, Reason, branch as branches};

/// Lines that have come, unchecked.
#[derive(Debug)]
pub struct Spool {
    file: File,
    bytes: u64,
    bytes_max: u64,
}

/// Lines that are whole and well formed, and belong to a branch.
#[derive(Debug)]
pub struct Spooled {
    file: Mutex<File>,
    rows: u64,
    sha256: String,
}

impl Spooled {
    /// An empty place for lines, which takes so many bytes.
    ///
    /// # Errors
    /// Where the system has no room for temporary files.
    pub fn begin(bytes_max: u64) -> Result<Spool, Error> {
        let file = tempfile::tempfile().map_err(|error| no_room(&error))?;
        Ok(Spool {
            file,
            bytes: 0,
            bytes_max,
        })
    }

    /// A digest of what came, to tell a retry by.
    pub fn sha256(&self) -> &str {
        &self.sha256
    }
}

impl Spool {
    /// Adds what came.
    ///
    /// # Errors
    /// [`Error::TooMuch`] where it is more than is taken: whoever sends without end must not fill the disk, which may be the
    /// database's too. [`StoreError::Full`] where the system has no room for it.
    pub fn add(&mut self, chunk: &[u8]) -> Result<(), Error> {
        let more = u64::try_from(chunk.len()).unwrap_or(u64::MAX);
        self.bytes = self.bytes.saturating_add(more);
        if self.bytes > self.bytes_max {
            return Err(Error::TooMuch {
                limit: format!(
                    "{} bytes for a branch that is brought in, this server's setting import_bytes_max",
                    self.bytes_max
                ),
            });
        }
        self.file.write_all(chunk).map_err(|error| no_room(&error))
    }

    /// Checks that all has come, and that it is of the branch.
    ///
    /// # Errors
    /// A violation that names the line at fault.
    pub fn check(self, id: &str) -> Result<Spooled, Error> {
        let End { rows, sha256 } = read_through(&self.file, id, |_| Ok(()))?;
        Ok(Spooled {
            file: Mutex::new(self.file),
            rows,
            sha256,
        })
    }
}

/// Reads the lines of a file from its beginning, checks that all are there and of the branch, and answers with what the
/// last says. `each` gets every line that has a row. One line at a time is in memory.
///
/// # Errors
/// A violation that names the line at fault, and what `each` says.
pub(in crate::work) fn read_through(
    mut file: &File,
    id: &str,
    mut each: impl FnMut(&str) -> Result<(), Error>,
) -> Result<End, Error> {
    file.seek(SeekFrom::Start(0))
        .map_err(|error| no_room(&error))?;
    let mut lines = Lines::new(file);
    let head: Head = lines.required()?;
    if let Some(fault) = head.fault() {
        return Err(lines.fault(Reason::Conflict, fault));
    }
    if head.branch != id {
        let words = format!("is of branch {}, not of {id}", head.branch);
        return Err(lines.fault(Reason::Conflict, words));
    }
    let mut rows = 0;
    let last: Last = loop {
        let before = lines.digest.clone();
        let line = lines.text()?.ok_or_else(|| lines.cut_off())?;
        if let Ok(last) = serde_json::from_str::<Last>(&line) {
            if last.end.sha256 != hexadecimal(&before.finalize()) || last.end.rows != rows {
                return Err(lines.fault(
                    Reason::Conflict,
                    "does not fit the lines before it; the export was changed or cut".to_owned(),
                ));
            }
            break last;
        }
        if lines.parse::<RowOfWhom>(&line)?.branch() != Some(id) {
            return Err(lines.fault(
                Reason::Conflict,
                format!("is a row of another branch than {id}"),
            ));
        }
        each(&line)?;
        rows += 1;
    };
    if lines.text()?.is_some() {
        return Err(lines.fault(Reason::Malformed, "comes after the end".to_owned()));
    }
    Ok(last.end)
}

fn no_room(error: &io::Error) -> Error {
    Error::Store(StoreError::Full {
        detail: format!("a temporary file: {error}"),
    })
}

/// Reads lines, counts them and keeps their digest.
struct Lines<R> {
    reader: BufReader<R>,
    number: u64,
    digest: Sha256,
}

impl<R: Read> Lines<R> {
    fn new(reader: R) -> Self {
        Self {
            reader: BufReader::new(reader),
            number: 0,
            digest: Sha256::new(),
        }
    }

    /// The next line; none after the last.
    fn text(&mut self) -> Result<Option<String>, Error> {
        let mut line = Vec::new();
        self.number += 1;
        let unreadable = |cause: String| format!("cannot be read: {cause}");
        let longest = u64::try_from(LINE_BYTES_MAX).unwrap_or(u64::MAX);
        let read = (&mut self.reader)
            .take(longest)
            .read_until(b'\n', &mut line)
            .map_err(|error| self.fault(Reason::Malformed, unreadable(error.to_string())))?;
        if read == 0 {
            return Ok(None);
        }
        if !line.ends_with(b"\n") {
            if read == LINE_BYTES_MAX {
                let words = format!("has more than the {LINE_BYTES_MAX} bytes of a line");
                return Err(self.fault(Reason::TooLong, words));
            }
            return Err(self.cut_off());
        }
        let line = String::from_utf8(line)
            .map_err(|error| self.fault(Reason::Malformed, unreadable(error.to_string())))?;
        self.digest.update(line.as_bytes());
        Ok(Some(line))
    }

    fn required<T: DeserializeOwned>(&mut self) -> Result<T, Error> {
        let line = self.text()?.ok_or_else(|| self.cut_off())?;
        self.parse(&line)
    }

    fn parse<'a, T: Deserialize<'a>>(&self, line: &'a str) -> Result<T, Error> {
        serde_json::from_str(line).map_err(|error| {
            self.fault(
                Reason::Malformed,
                format!("is no line of an export: {error}"),
            )
        })
    }

    fn cut_off(&self) -> Error {
        self.fault(
            Reason::Required,
            "is missing or has no end; the export was cut off".to_owned(),
        )
    }

    fn fault(&self, reason: Reason, words: String) -> Error {
        Error::violation(
            format!("lines[{}]", self.number.saturating_sub(1)),
            reason,
            words,
        )
    }
}

/// Brings a branch in.
pub struct ImportBranch {
    /// The branch's id.
    pub id: String,
    /// Its lines.
    pub lines: Spooled,
}

impl Command for ImportBranch {
    type Answer = u64;

    /// The branch is not there for others to write to.
    fn is_without_rivals(&self) -> bool {
        true
    }

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
        _now: DateTime<Utc>,
    ) -> Result<Accepted<u64>, Error> {
        let name = branches::name(&self.id);
        if branch::Entity::find_by_id(self.id.as_str())
            .one(transaction)
            .await?
            .is_some()
        {
            return Err(Error::AlreadyExists { name });
        }
        // The record of a branch outlives the branch, and its numbers go on.
        let recorded = audit_entry::Entity::find()
            .filter(audit_entry::Column::BranchId.eq(self.id.as_str()))
            .count(transaction)
            .await?;
        if recorded > 0 {
            return Err(Error::obstacle(
                ObstacleKind::RecordKept,
                name,
                "was on this database and was deleted; its audit is kept here, and the export's would stand in its \
                 place. Import it into a database that never had it",
            ));
        }
        self.fill(transaction).await?;
        let change = Change {
            subject: name,
            kind: "branch.imported",
            before: None,
            after: Some(json!({ "rows": self.lines.rows, "sha256": self.lines.sha256 })),
        };
        Ok(Accepted {
            answer: self.lines.rows,
            changes: vec![change],
        })
    }
}

impl ImportBranch {
    async fn fill(&self, transaction: &DatabaseTransaction) -> Result<(), Error> {
        let mut lines = Lines::new(self.again()?);
        let _: Head = lines.required()?;
        let mut filler = Filler::default();
        for _ in 0..self.lines.rows {
            let row: Row = lines.required()?;
            filler
                .add(transaction, &row.table, row.row)
                .await
                .map_err(|error| refused(&lines, error))?;
        }
        filler
            .finish(transaction)
            .await
            .map_err(|error| refused(&lines, error))
    }

    /// The lines from their beginning: an attempt may be made again.
    fn again(&self) -> Result<File, Error> {
        let file = self
            .lines
            .file
            .lock()
            .unwrap_or_else(PoisonError::into_inner);
        let mut again = file.try_clone().map_err(|error| no_room(&error))?;
        again
            .seek(SeekFrom::Start(0))
            .map_err(|error| no_room(&error))?;
        Ok(again)
    }
}

fn refused(lines: &Lines<File>, error: FillError) -> Error {
    match error {
        // The branch's own key may have been taken meanwhile, by the same branch brought in through another server. Any other
        // key and rule is broken by the rows themselves: it would be broken again however often they came.
        FillError::Unique {
            table,
            rule: UniqueRule::Key,
        } if ONE_FOR_EACH_BRANCH.contains(&table) => {
            Error::Store(StoreError::Unique(UniqueRule::Key))
        }
        FillError::Unique { table, rule } => {
            let words = format!("has, with those before it in {table}, {}", held_twice(rule));
            lines.fault(Reason::Conflict, words)
        }
        FillError::Second(_) => {
            let words = format!("is {error}");
            lines.fault(Reason::Conflict, words)
        }
        FillError::Store(error) => Error::Store(error),
        FillError::Table(_) | FillError::Row { .. } => {
            lines.fault(Reason::Malformed, error.to_string())
        }
    }
}

/// What rows have that no two may have.
fn held_twice(rule: UniqueRule) -> &'static str {
    match rule {
        UniqueRule::Key => "one key twice",
        UniqueRule::UnitSerialNumber => "two units with one serial number",
        UniqueRule::OpenTagOut => "two open tag-outs of one unit",
        UniqueRule::TagOutNumber => "two tag-outs with one number",
        UniqueRule::TagOutReopens => "two tag-outs that take up the same one",
        UniqueRule::PublishedPlan => "two published plans for one day",
        UniqueRule::PlanDayRevision => "two plans of a day with one revision",
        UniqueRule::StopPosition => "two stops at one place in a crew's day",
        UniqueRule::LoadOutUnit => "one spell of a unit twice",
        UniqueRule::Visit => "two visits at a time to one job",
        UniqueRule::CaseNumber => "two cases with one number",
        UniqueRule::RequestId => "a request id under which this server keeps an answer already",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn checked(text: &str) -> Result<Spooled, Error> {
        let mut spool = Spooled::begin(u64::MAX)?;
        spool.add(text.as_bytes())?;
        spool.check("north")
    }

    fn whole(rows: &[&str]) -> String {
        let head = serde_json::to_string(&Head::of("north")).expect("a line");
        let mut text = format!("{head}\n");
        for row in rows {
            text.push_str(row);
            text.push('\n');
        }
        let sha256 = hexadecimal(&Sha256::digest(&text));
        format!(
            "{text}{{\"end\":{{\"rows\":{},\"sha256\":\"{sha256}\"}}}}\n",
            rows.len()
        )
    }

    #[test]
    fn what_is_whole_passes_and_every_fault_names_its_line() {
        let row = r#"{"table":"unit","row":{"branch_id":"north"}}"#;
        let sound = whole(&[row, row]);
        assert_eq!(checked(&sound).expect("sound").rows, 2);
        let other = whole(&[r#"{"table":"unit","row":{"branch_id":"south"}}"#]);
        let cut: String = sound.split_inclusive('\n').take(2).collect();
        let one_short: String = sound
            .split_inclusive('\n')
            .enumerate()
            .filter(|(ix, _)| *ix != 1)
            .map(|(_, line)| line)
            .collect();
        for (text, line) in [
            (String::new(), 0),
            ("{}\n".to_owned(), 0),
            (sound.replacen("forenoon-branch", "another", 1), 0),
            (sound.replacen("\"version\":1", "\"version\":2", 1), 0),
            (
                sound.replacen("\"branch\":\"north\"", "\"branch\":\"south\"", 1),
                0,
            ),
            (other, 1),
            (whole(&["nonsense"]), 1),
            (cut, 2),
            (sound.trim_end().to_owned(), 3),
            (one_short, 2),
            (sound.replacen("\"unit\"", "\"crew\"", 1), 3),
            (format!("{sound}{row}\n"), 4),
        ] {
            let Err(Error::Invalid(faults)) = checked(&text) else {
                panic!("taken: {text}");
            };
            assert_eq!(faults[0].field, format!("lines[{line}]"), "{text}");
        }
    }
    #[test]
    fn a_line_is_taken_up_to_its_bound_and_told_apart_from_a_cut_one() {
        let frame = r#"{"table":"unit","row":{"branch_id":"north","note":""}}"#;
        let line = |length: usize| frame.replace("\"\"", &format!("\"{}\"", "x".repeat(length)));
        let longest = LINE_BYTES_MAX - frame.len() - 1;
        assert_eq!(checked(&whole(&[&line(longest)])).expect("sound").rows, 1);
        let Err(Error::Invalid(faults)) = checked(&whole(&[&line(longest + 1)])) else {
            panic!("taken");
        };
        assert_eq!(
            (faults[0].field.as_str(), faults[0].reason),
            ("lines[1]", Reason::TooLong)
        );
    }
}
