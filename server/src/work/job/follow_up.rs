//! Jobs that come of other jobs.

use chrono::{DateTime, Days, NaiveDate, Utc};
use forenoon_store::entity::job;
use forenoon_store::sea_orm::DatabaseTransaction;
use forenoon_store::value::{VisitWindow, VisitWindows};

use super::{KINDS, name};
use crate::work::{Change, Error, put};

/// A customer who still waits is seen within a week. Common practice, no source.
const WITHIN: Days = Days::new(6);

/// The week from a day on, at the hours of the job it comes of: those at which the place can be entered are likely the
/// same.
///
/// # Errors
/// Where the calendar ends.
pub(crate) fn week_from(job: &job::Model, first_day: NaiveDate) -> Result<VisitWindow, Error> {
    Ok(VisitWindow {
        first_day,
        last_day: first_day
            .checked_add_days(WITHIN)
            .ok_or_else(|| Error::Internal("the calendar ends".to_owned()))?,
        times: job
            .windows
            .0
            .first()
            .map_or_else(Vec::new, |window| window.times.clone()),
    })
}

/// Stores a job made from another, with its windows. Its id and its change.
///
/// # Errors
/// Those of the database.
pub(crate) async fn create(
    transaction: &DatabaseTransaction,
    mut row: job::Model,
    windows: Vec<VisitWindow>,
    now: DateTime<Utc>,
) -> Result<(String, Vec<Change>), Error> {
    let first_day = windows.iter().map(|window| window.first_day).min();
    let last_day = windows.iter().map(|window| window.last_day).max();
    row.first_day = first_day.unwrap_or(row.first_day);
    row.last_day = last_day.unwrap_or(row.last_day);
    row.windows = VisitWindows(windows);
    let put = put::<job::Entity>(transaction, None, row, now).await?;
    let job = put.row();
    let change = put.change(name(&job.branch_id, &job.id), KINDS)?;
    Ok((put.into_row().id, change.into_iter().collect()))
}
