//! Etags: what a caller has seen of a resource.
//!
//! An etag is made of the revision and the time of creation, so that a resource deleted and created
//! anew does not pass for the old one. Callers take it as it is.

use chrono::DateTime;
use forenoon_store::Revisioned;

use crate::work::{Reason, Seen};

use super::checks::{Checked, Checks};

/// The etag of a row.
pub(crate) fn of(row: &impl Revisioned) -> String {
    format!(
        "{:x}-{:x}",
        row.revision(),
        row.create_time().timestamp_micros()
    )
}

impl Checks {
    /// What the caller has seen; none where the etag is empty.
    pub(crate) fn etag(&mut self, field: &str, etag: &str) -> Checked<Option<Seen>> {
        if etag.is_empty() {
            return Some(None);
        }
        parse(etag).map(Some).or_else(|| {
            self.fault(
                field,
                Reason::Malformed,
                "is no etag of ours; send back the one that was read, or none",
            )
        })
    }
}

fn parse(etag: &str) -> Option<Seen> {
    let (revision, create_time) = etag.split_once('-')?;
    Some(Seen {
        revision: i64::from_str_radix(revision, 16).ok()?,
        create_time: DateTime::from_timestamp_micros(i64::from_str_radix(create_time, 16).ok()?)?,
    })
}
