//! The lines of an exported branch, as `proto/forenoon/v1/transfer.proto` tells them.

use std::borrow::Cow;

use forenoon_store::{knows_schema, schema};
use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::work::Error;

/// How the first line names the format.
const FORMAT: &str = "forenoon-branch";
/// The version of the format.
const VERSION: u32 = 1;
/// Longest line that is written or taken, its end included: 32 MiB. A part of a photograph has 1.4 MB in base64; the
/// answers kept for proposals of a day of thousands of jobs, and the documents of such drafts, have several.
pub(in crate::work) const LINE_BYTES_MAX: usize = 32 * 1024 * 1024;
/// Columns that tell which row of its table one is, in words.
const KEY_COLUMNS: [&str; 8] = [
    "id",
    "plan_id",
    "job_id",
    "sha256",
    "position",
    "seq",
    "request_id",
    "subject",
];

/// The first line.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::work) struct Head {
    format: String,
    version: u32,
    schema: String,
    /// The branch's id.
    pub(in crate::work) branch: String,
}

/// A line for a row.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::work) struct Row {
    /// The table.
    pub(in crate::work) table: String,
    /// The row.
    pub(in crate::work) row: Value,
}

/// A line for a row, read as far as is needed to see that it is one, and whose: nothing is made of its columns.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RowOfWhom<'a> {
    /// The table.
    #[serde(borrow)]
    table: Cow<'a, str>,
    /// The row.
    #[serde(borrow)]
    row: Whose<'a>,
}

#[derive(Debug, Deserialize)]
struct Whose<'a> {
    #[serde(borrow)]
    id: Option<Cow<'a, str>>,
    #[serde(borrow)]
    branch_id: Option<Cow<'a, str>>,
}

impl RowOfWhom<'_> {
    /// The branch it belongs to; none where the row does not say.
    pub(super) fn branch(&self) -> Option<&str> {
        let Whose { id, branch_id } = &self.row;
        let branch = if self.table == "branch" {
            id
        } else {
            branch_id
        };
        branch.as_deref()
    }
}

impl Row {
    /// The line as it is written.
    ///
    /// # Errors
    /// [`Error::TooMuch`] where no server would take it back.
    pub(in crate::work) fn written(&self) -> Result<Vec<u8>, Error> {
        let text = written(self)?;
        if text.len() <= LINE_BYTES_MAX {
            return Ok(text);
        }
        Err(Error::TooMuch {
            limit: format!(
                "{LINE_BYTES_MAX} bytes for a line: the row of {} with {} takes {}",
                self.table,
                self.key(),
                text.len()
            ),
        })
    }

    /// Which row of its table it is, in words.
    fn key(&self) -> String {
        let parts = KEY_COLUMNS.iter().filter_map(|column| {
            let value = self.row.get(column)?;
            Some(format!("{column} {value}"))
        });
        parts.collect::<Vec<_>>().join(", ")
    }
}

/// A line as it is written, with its end.
///
/// # Errors
/// Where it cannot be written as JSON, which is a fault of ours.
pub(in crate::work) fn written(line: &impl Serialize) -> Result<Vec<u8>, Error> {
    let mut text = serde_json::to_vec(line)
        .map_err(|error| Error::Internal(format!("a line as JSON: {error}")))?;
    text.push(b'\n');
    Ok(text)
}

/// The last line.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::work) struct Last {
    /// What it says.
    pub(in crate::work) end: End,
}

/// What the last line says.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::work) struct End {
    /// Rows before it.
    pub(in crate::work) rows: u64,
    /// SHA-256 of all bytes before it, in lower-case hexadecimal.
    pub(in crate::work) sha256: String,
}

impl Head {
    /// Of a branch, by this build.
    pub(in crate::work) fn of(branch: &str) -> Self {
        Self {
            format: FORMAT.to_owned(),
            version: VERSION,
            schema: schema(),
            branch: branch.to_owned(),
        }
    }

    /// Why this build cannot read what follows.
    pub(in crate::work) fn fault(&self) -> Option<String> {
        if self.format != FORMAT || self.version != VERSION {
            return Some(format!(
                "is {} of version {}, not {FORMAT} of version {VERSION}",
                self.format, self.version
            ));
        }
        // What came to the schema later has defaults, by which rows of an earlier one are whole.
        (!knows_schema(&self.schema)).then(|| {
            format!(
                "has the schema {}, which this server, whose own is {}, does not know; bring it into a server of the \
                 version it came from, or of a later one",
                self.schema,
                schema()
            )
        })
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn every_schema_that_this_build_came_of_is_read() {
        let head = Head::of("north");
        assert_eq!(head.fault(), None);
        let schema = |name: &str| Head {
            schema: name.to_owned(),
            ..head.clone()
        };
        assert_eq!(schema("m20261125_000030_solve_lease").fault(), None);
        let fault = schema("m20990101_000001_later").fault().expect("a fault");
        assert!(fault.contains("m20990101_000001_later"), "{fault}");
        assert!(fault.contains("later one"), "{fault}");
    }

    #[test]
    fn a_line_that_nobody_would_take_back_is_not_written() {
        let row = |length: usize| Row {
            table: "plan_draft".into(),
            row: json!({ "plan_id": "2027-04-20-1", "parts": "x".repeat(length) }),
        };
        let frame = row(0).written().expect("short").len();
        let longest = row(LINE_BYTES_MAX - frame).written().expect("long");
        assert_eq!(longest.len(), LINE_BYTES_MAX);
        let Err(Error::TooMuch { limit }) = row(LINE_BYTES_MAX - frame + 1).written() else {
            panic!("it was written");
        };
        assert!(
            limit.contains("plan_draft with plan_id \"2027-04-20-1\""),
            "{limit}"
        );
    }
}
