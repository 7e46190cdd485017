//! Writes plans and changes their state.

use chrono::{DateTime, NaiveDate, Utc};
use forenoon_desk::StoredPlan;
use forenoon_store::entity::{plan, plan_draft};
use forenoon_store::sea_orm::{ColumnTrait, DatabaseTransaction, EntityTrait, QueryFilter};
use forenoon_store::value::PlanState;
use forenoon_store::{Revisioned, insert_all};

use super::name;
use crate::work::tag_out::misuses;
use crate::work::{Change, Error, row};

/// The next revision of a day.
pub(super) async fn next_revision(
    transaction: &DatabaseTransaction,
    branch: &str,
    day: NaiveDate,
) -> Result<i32, Error> {
    let of_day = plan::Entity::find()
        .filter(plan::Column::BranchId.eq(branch))
        .filter(plan::Column::Day.eq(day));
    let last: Option<i32> = row::highest(transaction, of_day, plan::Column::DayRevision).await?;
    Ok(last.unwrap_or(0) + 1)
}

/// Gives a plan made outside the transaction the revision it has in it.
pub(super) fn renumbered(
    mut stored: StoredPlan,
    day_revision: i32,
    now: DateTime<Utc>,
) -> StoredPlan {
    let id = format!("{}-{day_revision}", stored.plan.day.format("%Y-%m-%d"));
    stored.plan.day_revision = day_revision;
    stored.plan.stamp_created(now);
    stored.plan.id.clone_from(&id);
    stored
        .crew_days
        .iter_mut()
        .for_each(|row| row.plan_id.clone_from(&id));
    stored
        .load_outs
        .iter_mut()
        .for_each(|row| row.plan_id.clone_from(&id));
    stored
        .stops
        .iter_mut()
        .for_each(|row| row.plan_id.clone_from(&id));
    stored
        .unplanned
        .iter_mut()
        .for_each(|row| row.plan_id.clone_from(&id));
    stored
}

/// Stores plans of one branch as drafts. Refused where one wants a limited unit for what it must not do; the database
/// itself refuses one that has a tagged unit.
pub(super) async fn insert(
    transaction: &DatabaseTransaction,
    branch: &str,
    plans: &[StoredPlan],
) -> Result<Vec<Change>, Error> {
    let limited = misuses(transaction, branch, plans.iter().flat_map(|one| &one.stops)).await?;
    if !limited.is_empty() {
        return Err(Error::Obstructed(limited));
    }
    let drafts: Vec<plan_draft::Model> = plans
        .iter()
        .map(|stored| plan_draft::Model {
            branch_id: branch.to_owned(),
            plan_id: stored.plan.id.clone(),
            parts: stored.parts(),
        })
        .collect();
    insert_all(transaction, plans.iter().map(|one| &one.plan)).await?;
    insert_all(transaction, &drafts).await?;
    plans
        .iter()
        .map(|stored| {
            Change::of(
                name(branch, &stored.plan.id),
                "plan.drafted",
                None,
                Some(&stored.plan),
            )
        })
        .collect()
}

/// Makes rows of a draft's parts, where they are a document: crews, work orders and guards go by rows.
pub(super) async fn lay_out(
    transaction: &DatabaseTransaction,
    draft: &StoredPlan,
) -> Result<(), Error> {
    let key = (draft.plan.branch_id.clone(), draft.plan.id.clone());
    let document = plan_draft::Entity::delete_by_id(key)
        .exec(transaction)
        .await?;
    if document.rows_affected == 0 {
        return Ok(());
    }
    insert_all(transaction, &draft.crew_days).await?;
    insert_all(transaction, &draft.load_outs).await?;
    insert_all(transaction, &draft.stops).await?;
    insert_all(transaction, &draft.unplanned).await?;
    Ok(())
}

/// Moves a plan to another state.
pub(super) async fn move_to(
    transaction: &DatabaseTransaction,
    before: &plan::Model,
    state: PlanState,
    now: DateTime<Utc>,
) -> Result<(plan::Model, Change), Error> {
    let mut after = before.clone();
    after.state = state;
    if state == PlanState::Published {
        after.publish_time = Some(now);
    }
    after.stamp_changed(before, now);
    row::update(transaction, before, &after).await?;
    let kind = match state {
        PlanState::Draft => "plan.drafted",
        PlanState::Published => "plan.published",
        PlanState::Replaced => "plan.replaced",
        PlanState::Discarded => "plan.discarded",
    };
    let change = Change::of(
        name(&after.branch_id, &after.id),
        kind,
        Some(before),
        Some(&after),
    )?;
    Ok((after, change))
}
