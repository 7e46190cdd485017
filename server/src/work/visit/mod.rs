//! Visits: what crews report from the sites of a published day.

mod finish;
mod read;
mod start;

pub use finish::FinishJob;
pub use read::list;
pub use start::StartJob;

use chrono::{DateTime, TimeDelta, Utc};

use super::{Error, Reason};

/// A report may run ahead of the server's clock by so much: phones differ.
const AHEAD_MAX: TimeDelta = TimeDelta::minutes(5);

/// The subject of a visit's events: the job.
fn subject(branch: &str, job: &str) -> String {
    format!("branches/{branch}/jobs/{job}")
}

/// The moment a report speaks of: the one given, or now.
pub(crate) fn moment(
    given: Option<DateTime<Utc>>,
    field: &str,
    now: DateTime<Utc>,
) -> Result<DateTime<Utc>, Error> {
    match given {
        Some(given) if given > now + AHEAD_MAX => Err(Error::violation(
            field,
            Reason::OutOfRange,
            "is in the future; check the clock of the device",
        )),
        Some(given) => Ok(given),
        None => Ok(now),
    }
}
