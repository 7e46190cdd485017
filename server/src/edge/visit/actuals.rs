//! What tasks took, from the wire.

use forenoon_proto::v1;
use forenoon_store::value::TaskActual;

use crate::edge::checks::Checks;
use crate::work::Reason;

/// Tasks of one job: as many as the contract allows.
const ACTUALS_MAX: usize = 100;
/// Units of one task.
const UNITS_MAX: usize = 20;
/// The most time one task may have taken.
const TASK_SECONDS_MAX: i32 = 86_400;

/// What each task took; every task once at most.
pub(super) fn actuals(
    checks: &mut Checks,
    branch: &str,
    wire: Vec<v1::TaskActual>,
) -> Option<Vec<TaskActual>> {
    let mut seen: Vec<String> = Vec::new();
    checks.each("task_actuals", wire, ACTUALS_MAX, |checks, one| {
        let v1::TaskActual {
            task_id,
            duration,
            units,
        } = one;
        let fresh = if seen.contains(&task_id) {
            checks.fault(
                "task_id",
                Reason::Duplicate,
                "has figures already; give each task once",
            )
        } else {
            seen.push(task_id.clone());
            checks.text("task_id", task_id, 1..=63)
        };
        let duration_seconds = checks.seconds("duration", duration, TASK_SECONDS_MAX);
        checks.distinct("units", "", &units);
        let units = checks.each("units", units, UNITS_MAX, |checks, unit| {
            checks
                .name("", ["branches", "units"], &unit)
                .and_then(|_| checks.reference("", branch, "units", &unit))
                .flatten()
        });
        Some(TaskActual {
            task_id: fresh?,
            duration_seconds: duration_seconds?,
            unit_ids: units?,
        })
    })
}
