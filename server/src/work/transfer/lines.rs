//! The lines of an exported branch, as `proto/forenoon/v1/transfer.proto` tells them.

use forenoon_store::schema;
use serde::{Deserialize, Serialize};
use serde_json::Value;

/// How the first line names the format.
const FORMAT: &str = "forenoon-branch";
/// The version of the format.
const VERSION: u32 = 1;

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
        let schema = schema();
        (self.schema != schema).then(|| {
            format!(
                "has the schema {}, and this server {schema}; bring it into a server of the version it came from, and \
                 that up to date",
                self.schema
            )
        })
    }
}
