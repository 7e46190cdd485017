//! Effective hours of a branch's units, since they were new and since their last service.
//!
//! Visits that are long over are summed (`settle.rs`), so that only the latest are read; and so that they can go.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Utc};
use forenoon_desk::hours::{UnitHours, effective_hours};
use forenoon_store::entity::{hours_settled, unit, unit_hours, unit_service, visit};
use forenoon_store::sea_orm::{
    ColumnTrait, Condition, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder,
};
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
    let services = last_services(connection, branch).await?;
    let mut hours = at_visits(connection, branch, units, &services, None).await?;
    for unit in units {
        let known = hours.entry(unit.id.clone()).or_default();
        known.life += unit.run_hours;
        if !services.contains_key(&unit.id) {
            known.since += unit.run_hours;
        }
    }
    Ok(hours)
}

/// Effective hours of a unit over its life as they were at a moment: without those of visits that began after it.
///
/// # Errors
/// Those of the database.
pub(super) async fn life_at(
    connection: &impl ConnectionTrait,
    unit: &unit::Model,
    moment: DateTime<Utc>,
) -> Result<f64, Error> {
    let since = BTreeMap::from([(unit.id.clone(), moment)]);
    let units = std::slice::from_ref(unit);
    let hours = at_visits(connection, &unit.branch_id, units, &since, None).await?;
    let known = hours.get(&unit.id).copied().unwrap_or_default();
    Ok(unit.run_hours + (known.life - known.since).max(0.0))
}

/// When each unit was last serviced.
pub(super) async fn last_services(
    connection: &impl ConnectionTrait,
    branch: &str,
) -> Result<BTreeMap<String, DateTime<Utc>>, Error> {
    Ok(unit_service::Entity::find()
        .filter(unit_service::Column::BranchId.eq(branch))
        .order_by_asc(unit_service::Column::ServiceTime)
        .all(connection)
        .await?
        .into_iter()
        .map(|service| (service.unit_id, service.service_time))
        .collect())
}

/// Up to when visits are summed, if they are.
///
/// # Errors
/// Those of the database.
pub(crate) async fn settled_until(
    connection: &impl ConnectionTrait,
    branch: &str,
) -> Result<Option<DateTime<Utc>>, Error> {
    Ok(hours_settled::Entity::find_by_id(branch)
        .one(connection)
        .await?
        .map(|row| row.until_time))
}

/// Effective hours at visits finished by a moment, or at all; the units' own hours on record are left out.
pub(super) async fn at_visits(
    connection: &impl ConnectionTrait,
    branch: &str,
    units: &[unit::Model],
    services: &BTreeMap<String, DateTime<Utc>>,
    until: Option<DateTime<Utc>>,
) -> Result<BTreeMap<String, UnitHours>, Error> {
    let bare: Vec<unit::Model> = units.iter().cloned().map(bare).collect();
    let settled = settled_until(connection, branch).await?;
    let mut lately = Condition::all().add(visit::Column::FinishTime.is_not_null());
    if let Some(settled) = settled {
        lately = lately.add(visit::Column::FinishTime.gt(settled));
    }
    if let Some(until) = until {
        lately = lately.add(visit::Column::FinishTime.lte(until));
    }
    let mut hours = of(connection, branch, &bare, services, lately).await?;
    let Some(settled) = settled else {
        return Ok(hours);
    };
    let sums = unit_hours::Entity::find()
        .filter(unit_hours::Column::BranchId.eq(branch))
        .all(connection)
        .await?;
    // Services told late: after some of the visits that are summed already.
    let mut told_late = BTreeMap::new();
    for sum in sums {
        let Some(known) = hours.get_mut(&sum.unit_id) else {
            continue;
        };
        known.life += sum.life_hours;
        let service = services.get(&sum.unit_id).copied();
        if service == sum.serviced_time {
            known.since += sum.since_hours;
        } else if let Some(service) = service.filter(|service| *service < settled) {
            told_late.insert(sum.unit_id, service);
        }
    }
    let Some(earliest) = told_late.values().min().copied() else {
        return Ok(hours);
    };
    let again = Condition::all()
        .add(visit::Column::StartTime.gt(earliest))
        .add(visit::Column::FinishTime.lte(settled));
    let counted = of(connection, branch, &bare, services, again).await?;
    for unit in told_late.keys() {
        if let (Some(known), Some(more)) = (hours.get_mut(unit), counted.get(unit)) {
            known.since += more.since;
        }
    }
    Ok(hours)
}

/// A unit as if it had come new: its own hours on record count apart.
pub(super) fn bare(unit: unit::Model) -> unit::Model {
    unit::Model {
        run_hours: 0.0,
        ..unit
    }
}

async fn of(
    connection: &impl ConnectionTrait,
    branch: &str,
    units: &[unit::Model],
    services: &BTreeMap<String, DateTime<Utc>>,
    which: Condition,
) -> Result<BTreeMap<String, UnitHours>, Error> {
    let visits = visit::Entity::find()
        .filter(visit::Column::BranchId.eq(branch))
        .filter(which)
        .order_by_asc(visit::Column::JobId)
        .order_by_asc(visit::Column::Attempt)
        .all(connection)
        .await?;
    let past = past_of(connection, branch, visits).await?;
    Ok(effective_hours(units, &past, services))
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
