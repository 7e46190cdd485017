//! Time windows: work starts, or lies as a whole, within one of the job's windows.

use crate::Seconds;
use crate::problem::{Bound, Job};

/// The earliest start at or after `not_before`; `finish` tells the end of work for a start.
pub(crate) fn earliest_start(
    job: &Job,
    not_before: Seconds,
    finish: impl Fn(Seconds) -> Seconds,
) -> Option<Seconds> {
    for window in &job.windows {
        if window.close < not_before {
            continue;
        }
        let start = not_before.max(window.open);
        match job.bound {
            Bound::Start => return Some(start),
            Bound::Whole if finish(start) <= window.close => return Some(start),
            Bound::Whole => {}
        }
    }
    None
}

/// No start later than this is possible for work of this length, whatever else holds.
pub(crate) fn latest_start(job: &Job, work: Seconds) -> Seconds {
    let close = job
        .windows
        .last()
        .map_or(Seconds::MIN / 4, |window| window.close);
    match job.bound {
        Bound::Start => close,
        Bound::Whole => close - work,
    }
}
