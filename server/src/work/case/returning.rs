//! The job by which a crew returns to do work again.

use chrono::{DateTime, Utc};
use forenoon_store::entity::{job, site_case};
use forenoon_store::sea_orm::{DatabaseTransaction, EntityTrait};
use forenoon_store::value::JobState;

use crate::work::job::follow_up::{create, week_from};
use crate::work::text::{NAME_LENGTH_MAX, NOTE_LENGTH_MAX, cut};
use crate::work::{Change, Error, branch as branches};

/// A customer who was let down is not put off for others: at least this priority. Common practice, no source.
const PRIORITY_LEAST: i32 = 4;

/// Makes a job that does the work of `job` again at no charge. Its id and its change.
pub(super) async fn return_job(
    transaction: &DatabaseTransaction,
    case: &site_case::Model,
    job: &job::Model,
    now: DateTime<Utc>,
) -> Result<(String, Vec<Change>), Error> {
    let branch = branches::get(transaction, &job.branch_id).await?;
    let week = week_from(job, branches::local_day(&branch, now)?)?;
    let mut row = job.clone();
    row.id = free_id(transaction, case).await?;
    row.display_name = cut(format!("Return: {}", job.display_name), NAME_LENGTH_MAX);
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
    create(transaction, row, vec![week], now).await
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
