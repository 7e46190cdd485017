//! What a caller has seen of a resource, to guard against overwriting.

use chrono::{DateTime, Utc};
use forenoon_store::Revisioned;

use super::Error;

/// The state of a resource that a caller has seen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Seen {
    /// Its revision.
    pub revision: i64,
    /// When it was created: one deleted and created anew is another.
    pub create_time: DateTime<Utc>,
}

/// Refuses where the caller has seen another state than the present one.
///
/// # Errors
/// [`Error::StaleEtag`] with the resource's name.
pub fn refuse_stale(seen: Option<Seen>, row: &impl Revisioned, name: &str) -> Result<(), Error> {
    let present = Seen {
        revision: row.revision(),
        create_time: row.create_time(),
    };
    if seen.is_some_and(|seen| seen != present) {
        return Err(Error::StaleEtag {
            name: name.to_owned(),
        });
    }
    Ok(())
}
