//! Effective hours of units: run hours, each times the severity of the work.
//!
//! A unit's run hours on record count once: they stand for its life before the visits, or for what no visit tells.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use forenoon_store::entity::unit;
use forenoon_trade::rates::Rates;
use forenoon_trade::task::Method;
use forenoon_trade::units::Minutes;
use forenoon_trade::wear::Severity;

use crate::lessons::PastVisit;
use crate::trade_map::{JobWork, method};

const SECONDS_PER_HOUR: f64 = 3_600.0;

/// Effective hours of one unit.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct UnitHours {
    /// Over its life.
    pub life: f64,
    /// Of these, hours at visits that began after the given moment; all hours where none was given.
    pub since: f64,
}

/// Effective hours of the units, from visits that are over, done or given up, whose crews told what tasks took and with what. `since` are the
/// moments of the units' last services.
pub fn effective_hours(
    units: &[unit::Model],
    visits: &[PastVisit],
    since: &BTreeMap<String, DateTime<Utc>>,
) -> BTreeMap<String, UnitHours> {
    let mut hours: BTreeMap<String, UnitHours> = units
        .iter()
        .map(|unit| {
            let since = if since.contains_key(&unit.id) {
                0.0
            } else {
                unit.run_hours
            };
            let life = unit.run_hours;
            (unit.id.clone(), UnitHours { life, since })
        })
        .collect();
    let rates = Rates::default();
    let severity = Severity::default();
    for one in visits {
        let work = JobWork::new(&one.job, &one.site, &rates);
        for actual in &one.visit.task_actuals.0 {
            let task = one
                .job
                .tasks
                .0
                .iter()
                .find(|task| task.task_id == actual.task_id);
            let Some(task) = task else {
                continue;
            };
            let way = task
                .capabilities
                .first()
                .and_then(|capability| method(*capability))
                .unwrap_or(Method::OnFoot);
            let share = severity.of(&work.work(task, way, Minutes::ZERO));
            let effective = f64::from(actual.duration_seconds) / SECONDS_PER_HOUR * share;
            for unit in &actual.unit_ids {
                if let Some(known) = hours.get_mut(unit) {
                    known.life += effective;
                    if since.get(unit).is_none_or(|service| {
                        one.visit.start_time.is_some_and(|start| start > *service)
                    }) {
                        known.since += effective;
                    }
                }
            }
        }
    }
    hours
}
