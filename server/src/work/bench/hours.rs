//! Effective hours of a branch's units, since they were new and since their last service.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Utc};
use forenoon_desk::hours::{UnitHours, effective_hours};
use forenoon_desk::lessons::PastVisit;
use forenoon_store::entity::{unit, unit_service, visit};
use forenoon_store::sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder};
use forenoon_trade::units::Hours;
use forenoon_trade::wear::Interval;

use crate::work::Error;
use crate::work::plan::past_of;

/// Effective hours of the units.
///
/// # Errors
/// Those of the database.
pub(super) async fn of_units(
    connection: &impl ConnectionTrait,
    branch: &str,
    units: &[unit::Model],
) -> Result<BTreeMap<String, UnitHours>, Error> {
    let since: BTreeMap<String, DateTime<Utc>> = unit_service::Entity::find()
        .filter(unit_service::Column::BranchId.eq(branch))
        .order_by_asc(unit_service::Column::ServiceTime)
        .all(connection)
        .await?
        .into_iter()
        .map(|service| (service.unit_id, service.service_time))
        .collect();
    let visits = visit::Entity::find()
        .filter(visit::Column::BranchId.eq(branch))
        .filter(visit::Column::FinishTime.is_not_null())
        .order_by_asc(visit::Column::JobId)
        .all(connection)
        .await?;
    let past: Vec<PastVisit> = past_of(connection, branch, visits).await?;
    Ok(effective_hours(units, &past, &since))
}

/// Effective hours until a unit's service is due, negative when overdue; none where no interval is kept.
pub(super) fn left(unit: &unit::Model, hours: UnitHours) -> Option<f64> {
    if unit.service_interval_hours <= 0.0 {
        return None;
    }
    let interval = Interval {
        every: Hours::new(unit.service_interval_hours),
    };
    // Figures out of the trade's bounds say nothing.
    interval
        .left(Hours::new(hours.since))
        .ok()
        .map(Hours::value)
}

/// Units whose service is due: they stay in where the company's rule is so.
///
/// # Errors
/// Those of the database.
pub(crate) async fn serviced_first(
    connection: &impl ConnectionTrait,
    branch: &str,
    units: &[unit::Model],
) -> Result<BTreeSet<String>, Error> {
    let hours = of_units(connection, branch, units).await?;
    Ok(units
        .iter()
        .filter(|unit| {
            let known = hours.get(&unit.id).copied().unwrap_or_default();
            left(unit, known).is_some_and(|left| left <= 0.0)
        })
        .map(|unit| unit.id.clone())
        .collect())
}
