//! The job by which a crew returns to do work again.

use chrono::{DateTime, Days, Utc};
use chrono_tz::Tz;
use forenoon_store::Revisioned;
use forenoon_store::entity::{job, site_case};
use forenoon_store::sea_orm::{
    ActiveModelTrait, DatabaseTransaction, EntityTrait, IntoActiveModel,
};
use forenoon_store::value::{JobState, VisitWindow, VisitWindows};

use crate::work::text::{NAME_LENGTH_MAX, NOTE_LENGTH_MAX, cut};
use crate::work::{Change, Error, branch as branches};

/// A customer who was let down is seen within a week. Common practice, no source.
const WITHIN: Days = Days::new(6);
/// And is not put off for others: at least this priority. Common practice, no source.
const PRIORITY_LEAST: i32 = 4;

/// Makes a job that does the work of `job` again at no charge. Its id and its change.
pub(super) async fn return_job(
    transaction: &DatabaseTransaction,
    case: &site_case::Model,
    job: &job::Model,
    now: DateTime<Utc>,
) -> Result<(String, Change), Error> {
    let branch = branches::get(transaction, &job.branch_id).await?;
    let zone: Tz = branch
        .time_zone
        .parse()
        .map_err(|error| Error::Internal(format!("stored time zone: {error}")))?;
    let today = now.with_timezone(&zone).date_naive();
    let last_day = today
        .checked_add_days(WITHIN)
        .ok_or_else(|| Error::Internal("the calendar ends".to_owned()))?;
    let mut row = job.clone();
    row.id = free_id(transaction, case).await?;
    row.display_name = cut(format!("Return: {}", job.display_name), NAME_LENGTH_MAX);
    row.windows = VisitWindows(vec![VisitWindow {
        first_day: today,
        last_day,
        // The hours at which the place can be entered are likely the same.
        times: job
            .windows
            .0
            .first()
            .map_or_else(Vec::new, |window| window.times.clone()),
    }]);
    row.first_day = today;
    row.last_day = last_day;
    row.priority = job.priority.max(PRIORITY_LEAST);
    row.deadline = None;
    row.deadline_source.clear();
    row.promise = None;
    row.price_minor = Some(0);
    row.note = cut(
        format!("Callback {}: {}. {}", case.id, case.cause, case.description),
        NOTE_LENGTH_MAX,
    );
    row.state = JobState::Open;
    row.cancel_reason.clear();
    row.condition.first_service = false;
    row.stamp_created(now);
    let row = row
        .into_active_model()
        .reset_all()
        .insert(transaction)
        .await?;
    let subject = format!("branches/{}/jobs/{}", row.branch_id, row.id);
    let change = Change::of(subject, "job.created", None, Some(&row))?;
    Ok((row.id, change))
}

async fn free_id(
    transaction: &DatabaseTransaction,
    case: &site_case::Model,
) -> Result<String, Error> {
    let mut id = format!("return-{}", case.number);
    while job::Entity::find_by_id((case.branch_id.clone(), id.clone()))
        .one(transaction)
        .await?
        .is_some()
    {
        id.push('x');
    }
    Ok(id)
}
