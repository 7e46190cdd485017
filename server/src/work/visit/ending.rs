//! Ends a visit that its crew did not end.

use chrono::{DateTime, Utc};
use forenoon_desk::visit::told;
use forenoon_store::entity::visit;
use forenoon_store::sea_orm::DatabaseTransaction;
use forenoon_store::value::VisitState;

use super::subject;
use crate::work::text::{REASON_LENGTH_MAX, cut};
use crate::work::{Change, Error, row};

/// Ends a visit as not done where its crew did not: the day's plan takes the work from it, or the job is called off. `plan`
/// is the plan that does so.
///
/// # Errors
/// Those of the database.
pub(crate) async fn end_undone(
    transaction: &DatabaseTransaction,
    before: &visit::Model,
    reason: String,
    plan: Option<&str>,
    now: DateTime<Utc>,
) -> Result<Change, Error> {
    let mut after = before.clone();
    after.state = VisitState::NotDone;
    after.finish_time = Some(told_until(before).map_or(now, |told| now.max(told)));
    after.not_done_reason = cut(reason, REASON_LENGTH_MAX);
    after.ended_by_plan_id = plan.map(str::to_owned);
    row::update(transaction, before, &after).await?;
    Change::of(
        subject(&before.branch_id, &before.job_id),
        "visit.not_done",
        Some(before),
        Some(&after),
    )
}

/// The latest time told of a visit. A telephone's clock may run ahead of ours, and no visit ends before what it consists of.
pub(super) fn told_until(visit: &visit::Model) -> Option<DateTime<Utc>> {
    let told = told(visit);
    let pauses = [told.paused.last(), told.resumed.last()];
    [told.departed, told.arrived, told.started]
        .into_iter()
        .chain(pauses.map(Option::<&_>::copied))
        .flatten()
        .max()
}

#[cfg(test)]
mod tests {
    use forenoon_store::value::Pause;

    use super::*;
    use crate::work::visit::record::fresh;

    /// A telephone's clock may be some minutes ahead.
    #[test]
    fn a_visit_does_not_end_before_what_was_told_of_it() {
        let at = |time: &str| -> DateTime<Utc> {
            format!("2027-04-20T{time}:00Z")
                .parse()
                .expect("an instant")
        };
        let mut visit = visit::Model {
            state: VisitState::Arrived,
            depart_time: Some(at("14:50")),
            arrive_time: Some(at("15:14")),
            ..fresh("north", "mow", 1)
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
