//! What a day is planned by beside its records, alike for plans, proposals and assessments.

use chrono::{DateTime, Utc};
use forenoon_desk::DayInputs;
use forenoon_desk::left_out::LeftOut;
use forenoon_store::sea_orm::ConnectionTrait;

use super::elsewhere::leave_out;
use super::learning::Learning;
use crate::work::Error;
use crate::work::bench::serviced_first;

/// Takes jobs that are done elsewhere out, and answers with them; puts in what past visits teach, and which units stay in as
/// their service is due, where the company has them do so.
///
/// # Errors
/// Those of the database.
pub(super) async fn prepare(
    connection: &impl ConnectionTrait,
    learning: &Learning,
    inputs: &mut DayInputs,
    service_due_keeps_in: bool,
    now: DateTime<Utc>,
) -> Result<Vec<LeftOut>, Error> {
    let left_out = leave_out(connection, inputs, now).await?;
    let branch = inputs.branch.id.as_str();
    inputs.lessons = learning.lessons(connection, branch, &inputs.clock).await?;
    if service_due_keeps_in {
        inputs.service_first = serviced_first(connection, branch, &inputs.units).await?;
    }
    Ok(left_out)
}
