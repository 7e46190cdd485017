//! A change to try, from the wire, and what it would bring, onto it.

use forenoon_proto::v1;
use forenoon_proto::v1::try_change_request::Change;

use crate::edge::checks::Checks;
use crate::edge::name::in_branch;
use crate::edge::time;
use crate::work;
use crate::work::Reason;
use crate::work::plan::{Tried, TriedChange, TryRequest};

/// Longest a shift may be made longer by.
const LONGER_SECONDS_MAX: i32 = 12 * 3_600;

/// The change that is asked for.
pub(super) fn from_wire(
    checks: &mut Checks,
    branch: &str,
    change: Option<Change>,
) -> Option<TriedChange> {
    let id = |checks: &mut Checks, field, collection, name: &str| {
        let id = checks.reference(field, branch, collection, name)?;
        checks.required(field, id)
    };
    match checks.required("change", change)? {
        Change::WithoutJob(job) => {
            id(checks, "without_job", "jobs", &job).map(TriedChange::WithoutJob)
        }
        Change::OneMoreLike(unit) => {
            id(checks, "one_more_like", "units", &unit).map(TriedChange::OneMoreLike)
        }
        Change::LongerShift(v1::LongerShift { crew, by }) => {
            let crew = id(checks, "longer_shift.crew", "crews", &crew);
            let by = checks.required("longer_shift.by", by);
            let seconds = checks.seconds("longer_shift.by", by, LONGER_SECONDS_MAX);
            let seconds = match (by, seconds) {
                (Some(_), Some(0)) => checks.fault(
                    "longer_shift.by",
                    Reason::OutOfRange,
                    "is nothing; give at least a second",
                ),
                _ => seconds,
            };
            let (crew, seconds) = crew.zip(seconds.filter(|_| by.is_some()))?;
            Some(TriedChange::LongerShift {
                crew,
                seconds: seconds.into(),
            })
        }
    }
}

/// What it would bring.
pub(super) fn to_wire(request: &TryRequest, tried: &Tried) -> v1::TryChangeResponse {
    let Tried {
        cost_points: [without, with],
        overtime_seconds,
        jobs_gained,
        jobs_lost,
    } = tried;
    let branch = &request.branch;
    let jobs = |ids: &[String]| ids.iter().map(|id| in_branch(branch, "jobs", id)).collect();
    let [overtime_without, overtime_with] =
        overtime_seconds.map(|seconds| Some(time::duration(seconds)));
    v1::TryChangeResponse {
        plan: work::plan::name(branch, &request.plan),
        cost_points_without: *without,
        cost_points_with: *with,
        jobs_gained: jobs(jobs_gained),
        jobs_lost: jobs(jobs_lost),
        overtime_without,
        overtime_with,
    }
}
