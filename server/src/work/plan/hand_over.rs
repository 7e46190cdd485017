//! A job that one crew began and another is to finish.

use chrono::{DateTime, Utc};
use forenoon_desk::StoredPlan;
use forenoon_desk::visit::told;
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
        after.finish_time = Some(told_until(&before).map_or(now, |told| now.max(told)));
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

/// The latest time told of a visit. A telephone's clock may run ahead of ours, and no visit ends before what it consists of.
fn told_until(visit: &visit::Model) -> Option<DateTime<Utc>> {
    let told = told(visit);
    let pauses = [told.paused.last(), told.resumed.last()];
    [told.departed, told.arrived, told.started]
        .into_iter()
        .chain(pauses.map(Option::<&_>::copied))
        .flatten()
        .max()
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

#[cfg(test)]
mod tests {
    use forenoon_store::value::{Pause, Pauses, TaskActuals, Times, Walkthroughs};

    use super::*;

    /// A telephone's clock may be some minutes ahead.
    #[test]
    fn a_visit_does_not_end_before_what_was_told_of_it() {
        let at = |time: &str| -> DateTime<Utc> {
            format!("2027-04-20T{time}:00Z")
                .parse()
                .expect("an instant")
        };
        let mut visit = visit::Model {
            branch_id: "north".to_owned(),
            job_id: "mow".to_owned(),
            attempt: 1,
            plan_id: "2027-04-20-1".to_owned(),
            crew_id: "ash".to_owned(),
            state: VisitState::Arrived,
            depart_time: Some(at("14:50")),
            arrive_time: Some(at("15:14")),
            start_time: None,
            finish_time: None,
            pauses: Pauses::default(),
            resume_times: Times::default(),
            task_actuals: TaskActuals::default(),
            bags: 0,
            note: String::new(),
            not_done_reason: String::new(),
            walkthroughs: Walkthroughs::default(),
        };
        assert_eq!(told_until(&visit), Some(at("15:14")));
        visit.pauses.0.push(Pause {
            pause_time: at("15:20"),
            reason: String::new(),
        });
        assert_eq!(told_until(&visit), Some(at("15:20")));
        visit.resume_times.0.push(at("15:21"));
        assert_eq!(told_until(&visit), Some(at("15:21")));
    }
}
