//! Jobs that crews began and a plan takes from them: another crew is to finish them, or they are left for another day.

use chrono::{DateTime, Utc};
use forenoon_desk::StoredPlan;
use forenoon_store::Revisioned;
use forenoon_store::entity::{job, visit};
use forenoon_store::sea_orm::{ColumnTrait, DatabaseTransaction, EntityTrait, QueryFilter};
use forenoon_store::value::{JobState, VisitState};

use super::day::days_of;
use super::read::jobs_of;
use crate::work::visit::end_undone;
use crate::work::{Change, Error, row};

/// Ends visits of crews whose broken-off jobs the draft gives to others, or leaves for another day: the job is open, and
/// whoever does it next has a visit that is an attempt of its own.
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
        let reason = format!("handed over to {} by plan {}", stop.crew_id, plan.id);
        changes.push(end_undone(transaction, &before, reason, Some(&plan.id), now).await?);
        open_again(transaction, &before, now).await?;
    }
    for before in left_half_done(transaction, draft).await? {
        let reason = format!(
            "broken off and left for another day by plan {}; all of the job is open again",
            plan.id
        );
        changes.push(end_undone(transaction, &before, reason, Some(&plan.id), now).await?);
        open_again(transaction, &before, now).await?;
    }
    Ok(changes)
}

/// Visits of the day at jobs that have begun, and that the plan replaced by the draft has and the draft has not. Only a
/// re-plan knows what runs, and has all of it that goes on.
async fn left_half_done(
    transaction: &DatabaseTransaction,
    draft: &StoredPlan,
) -> Result<Vec<visit::Model>, Error> {
    let branch = draft.plan.branch_id.as_str();
    let Some(base) = &draft.plan.base_plan_id else {
        return Ok(Vec::new());
    };
    let had = jobs_of(transaction, branch, base).await?;
    let dropped: Vec<String> = had
        .into_iter()
        .filter(|job| draft.stop_of(job).is_none())
        .collect();
    if dropped.is_empty() {
        return Ok(Vec::new());
    }
    let running = visit::Entity::find()
        .filter(visit::Column::BranchId.eq(branch))
        .filter(visit::Column::JobId.is_in(dropped))
        .filter(visit::Column::State.is_in([VisitState::Working, VisitState::Paused]))
        .all(transaction)
        .await?;
    let plans = running.iter().map(|visit| visit.plan_id.clone()).collect();
    let days = days_of(transaction, branch, plans).await?;
    // Work of the evening before goes on past midnight, whatever is planned for the day.
    Ok(running
        .into_iter()
        .filter(|visit| days.get(&visit.plan_id) == Some(&draft.plan.day))
        .collect())
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
