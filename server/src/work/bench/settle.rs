//! Sums the hours of units over visits that are long over.
//!
//! What crews tell with the end of a visit never changes. What is told later than it is summed is added when it is told.

use std::collections::BTreeSet;
use std::time::Duration;

use chrono::{DateTime, TimeDelta, Utc};
use forenoon_desk::hours::{UnitHours, effective_hours};
use forenoon_desk::lessons::PastVisit;
use forenoon_store::entity::{hours_settled, unit, unit_hours, visit};
use forenoon_store::sea_orm::sea_query::OnConflict;
use forenoon_store::sea_orm::{
    ColumnTrait, DatabaseTransaction, EntityTrait, IntoActiveModel, QueryFilter, QueryOrder,
};
use forenoon_store::{Database, Write};
use tokio_util::sync::CancellationToken;
use tracing::warn;

use super::hours::{at_visits, bare, last_services, settled_until};
use crate::work::branch::all_ids;
use crate::work::plan::past_of;
use crate::work::steady::Steady;
use crate::work::{Clock, Error};

/// Visits younger than this are read one by one: reports of most have come by then.
const UNSETTLED: TimeDelta = TimeDelta::days(2);
/// Most time that one transaction sums.
const STEP: TimeDelta = TimeDelta::days(31);
/// How often it is looked for visits to sum.
const INTERVAL: Duration = Duration::from_hours(1);

/// Sums the hours of all branches every hour, until the server goes down.
pub async fn settle_hours(database: Database, clock: &dyn Clock, going_down: CancellationToken) {
    let mut steady = Steady::from(clock.now());
    while going_down
        .run_until_cancelled(tokio::time::sleep(INTERVAL))
        .await
        .is_some()
    {
        let now = steady.believe(clock.now());
        if let Err(error) = settle_all(&database, now).await {
            warn!(%error, "hours stay as they are for now");
        }
    }
}

async fn settle_all(database: &Database, now: DateTime<Utc>) -> Result<(), Error> {
    for id in all_ids(database.read()).await? {
        settle(database, &id, now).await?;
    }
    Ok(())
}

/// Sums the hours of a branch's units over all visits that are long over.
///
/// # Errors
/// Those of the database.
pub async fn settle(database: &Database, branch: &str, now: DateTime<Utc>) -> Result<(), Error> {
    let step = Settle {
        branch: branch.to_owned(),
        until: now - UNSETTLED,
    };
    while database.write_untold(branch, &step).await? {}
    Ok(())
}

/// Sums the hours of a branch's units up to a moment, or a part of the way.
struct Settle {
    branch: String,
    until: DateTime<Utc>,
}

impl Write for Settle {
    /// Whether there is more to sum.
    type Output = bool;
    type Error = Error;

    async fn run(&self, transaction: &DatabaseTransaction) -> Result<bool, Error> {
        let branch = self.branch.as_str();
        let known = settled_until(transaction, branch).await?;
        if known.is_some_and(|known| known >= self.until) {
            return Ok(false);
        }
        let mut next = visit::Entity::find()
            .filter(visit::Column::BranchId.eq(branch))
            .filter(visit::Column::FinishTime.lte(self.until));
        if let Some(known) = known {
            next = next.filter(visit::Column::FinishTime.gt(known));
        }
        let first = next
            .order_by_asc(visit::Column::FinishTime)
            .one(transaction)
            .await?
            .and_then(|visit| visit.finish_time);
        let until = first.map_or(self.until, |first| Ord::min(self.until, first + STEP));
        if first.is_some() {
            let units = unit::Entity::find()
                .filter(unit::Column::BranchId.eq(branch))
                .all(transaction)
                .await?;
            let services = last_services(transaction, branch).await?;
            let hours = at_visits(transaction, branch, &units, &services, Some(until)).await?;
            for (unit_id, UnitHours { life, since }) in hours {
                let row = unit_hours::Model {
                    serviced_time: services.get(&unit_id).copied(),
                    branch_id: branch.to_owned(),
                    unit_id,
                    life_hours: life,
                    since_hours: since,
                };
                put(transaction, row).await?;
            }
        }
        let row = hours_settled::Model {
            branch_id: branch.to_owned(),
            until_time: until,
        };
        hours_settled::Entity::insert(row.into_active_model())
            .on_conflict(
                OnConflict::column(hours_settled::Column::BranchId)
                    .update_column(hours_settled::Column::UntilTime)
                    .to_owned(),
            )
            .exec_without_returning(transaction)
            .await?;
        Ok(until < self.until)
    }
}

async fn put(transaction: &DatabaseTransaction, row: unit_hours::Model) -> Result<(), Error> {
    unit_hours::Entity::insert(row.into_active_model())
        .on_conflict(
            OnConflict::columns([unit_hours::Column::BranchId, unit_hours::Column::UnitId])
                .update_columns([
                    unit_hours::Column::LifeHours,
                    unit_hours::Column::SinceHours,
                    unit_hours::Column::ServicedTime,
                ])
                .to_owned(),
        )
        .exec_without_returning(transaction)
        .await?;
    Ok(())
}

/// Adds a visit whose end was told only after visits of its time were summed. What was summed of it as it stood before does
/// not count beside it.
///
/// # Errors
/// Those of the database.
pub(crate) async fn add_late(
    transaction: &DatabaseTransaction,
    before: Option<&visit::Model>,
    after: &visit::Model,
) -> Result<(), Error> {
    let branch = after.branch_id.as_str();
    let told_nothing = |visit: &visit::Model| visit.task_actuals.0.is_empty();
    if told_nothing(after) && before.is_none_or(told_nothing) {
        return Ok(());
    }
    let until = settled_until(transaction, branch).await?;
    let summed = |visit: &&visit::Model| visit.finish_time.is_some() && visit.finish_time <= until;
    let (before, after) = (before.filter(summed), Some(after).filter(summed));
    let of_either = before.into_iter().chain(after);
    let ids: BTreeSet<&str> = of_either
        .flat_map(|visit| &visit.task_actuals.0)
        .flat_map(|actual| &actual.unit_ids)
        .map(String::as_str)
        .collect();
    if ids.is_empty() {
        return Ok(());
    }
    let units: Vec<unit::Model> = unit::Entity::find()
        .filter(unit::Column::BranchId.eq(branch))
        .filter(unit::Column::Id.is_in(ids))
        .all(transaction)
        .await?
        .into_iter()
        .map(bare)
        .collect();
    let known = past_of(transaction, branch, before.into_iter().cloned().collect()).await?;
    let told = past_of(transaction, branch, after.into_iter().cloned().collect()).await?;
    let services = last_services(transaction, branch).await?;
    for unit in units {
        let key = (branch.to_owned(), unit.id.clone());
        // A unit that came since: its sums begin with this visit.
        let begun = || unit_hours::Model {
            branch_id: branch.to_owned(),
            unit_id: unit.id.clone(),
            life_hours: 0.0,
            since_hours: 0.0,
            serviced_time: services.get(&unit.id).copied(),
        };
        let sum = unit_hours::Entity::find_by_id(key)
            .one(transaction)
            .await?
            .unwrap_or_else(begun);
        // What was summed counts from the service it knew of.
        let [less, more] = [&known, &told].map(|past| of_one(&unit, past, sum.serviced_time));
        let row = unit_hours::Model {
            life_hours: (sum.life_hours + more.life - less.life).max(0.0),
            since_hours: (sum.since_hours + more.since - less.since).max(0.0),
            ..sum
        };
        put(transaction, row).await?;
    }
    Ok(())
}

fn of_one(unit: &unit::Model, past: &[PastVisit], service: Option<DateTime<Utc>>) -> UnitHours {
    let service = service
        .map(|at| (unit.id.clone(), at))
        .into_iter()
        .collect();
    effective_hours(std::slice::from_ref(unit), past, &service)
        .remove(&unit.id)
        .unwrap_or_default()
}
