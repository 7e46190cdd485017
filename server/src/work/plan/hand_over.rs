//! A job that one crew began and another is to finish.

use chrono::{DateTime, Utc};
use forenoon_desk::StoredPlan;
use forenoon_store::Revisioned;
use forenoon_store::entity::{job, visit};
use forenoon_store::sea_orm::{ColumnTrait, DatabaseTransaction, EntityTrait, QueryFilter};
use forenoon_store::value::{JobState, VisitState};

use crate::work::{Change, Error, row};

/// Ends visits of crews whose broken-off jobs the draft gives to others: the job is open for the other crew, whose visit
/// is an attempt of its own.
pub(super) async fn hand_over(
    transaction: &DatabaseTransaction,
    draft: &StoredPlan,
    now: DateTime<Utc>,
) -> Result<Vec<Change>, Error> {
    let mut changes = Vec::new();
    let plan = &draft.plan;
    let continued = plan
        .proposal
        .as_ref()
        .map_or(&[][..], |facts| facts.continued.as_slice());
    for left in continued {
        let running = visit::Entity::find()
            .filter(visit::Column::BranchId.eq(plan.branch_id.as_str()))
            .filter(visit::Column::JobId.eq(left.job_id.as_str()))
            .filter(visit::Column::State.is_not_in([VisitState::Done, VisitState::NotDone]))
            .one(transaction)
            .await?;
        let (Some(stop), Some(before)) = (draft.stop_of(&left.job_id), running) else {
            continue;
        };
        if stop.crew_id == before.crew_id {
            continue;
        }
        let mut after = before.clone();
        after.state = VisitState::NotDone;
        after.finish_time = Some(now.max(before.start_time.unwrap_or(now)));
        after.not_done_reason = format!("handed over to {} by plan {}", stop.crew_id, plan.id);
        row::update(transaction, &before, &after).await?;
        open_again(transaction, &before, now).await?;
        changes.push(Change::of(
            format!("branches/{}/jobs/{}", plan.branch_id, left.job_id),
            "visit.not_done",
            Some(&before),
            Some(&after),
        )?);
    }
    Ok(changes)
}

async fn open_again(
    transaction: &DatabaseTransaction,
    visit: &visit::Model,
    now: DateTime<Utc>,
) -> Result<(), Error> {
    let key = (visit.branch_id.clone(), visit.job_id.clone());
    let job = job::Entity::find_by_id(key).one(transaction).await?;
    let Some(before) = job.filter(|job| job.state == JobState::Running) else {
        return Ok(());
    };
    let mut after = before.clone();
    after.state = JobState::Open;
    after.stamp_changed(&before, now);
    row::update(transaction, &before, &after).await?;
    Ok(())
}
