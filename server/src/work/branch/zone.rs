//! A branch's own time.

use chrono::{DateTime, NaiveDate, Utc};
use chrono_tz::Tz;
use forenoon_store::entity::branch;

use crate::work::Error;

/// The branch's zone.
///
/// # Errors
/// Where the store holds what the edge should have refused.
pub(crate) fn zone(branch: &branch::Model) -> Result<Tz, Error> {
    branch
        .time_zone
        .parse()
        .map_err(|error| Error::Internal(format!("stored time zone: {error}")))
}

/// The branch's date at an instant.
///
/// # Errors
/// As for [`zone`].
pub(crate) fn local_day(branch: &branch::Model, at: DateTime<Utc>) -> Result<NaiveDate, Error> {
    Ok(at.with_timezone(&zone(branch)?).date_naive())
}
