//! Promises: a customer is met between two instants, before the work or after it. A crew that is early waits.

use crate::Seconds;
use crate::cost::Cost;
use crate::problem::{Job, Meeting, Weights};

/// The first start at or after `not_before` that the promise allows for so much work. Breaks within the work only make
/// it end later, so a meeting after it is never too early.
pub(crate) fn not_before(job: &Job, not_before: Seconds, work: Seconds) -> Seconds {
    job.promise.map_or(not_before, |promise| {
        not_before.max(match promise.at {
            Meeting::Start => promise.open,
            Meeting::Finish => promise.open - work,
        })
    })
}

/// Whether these times break a promise that must be kept.
pub(crate) fn forbids(job: &Job, start: Seconds, finish: Seconds) -> bool {
    job.promise
        .is_some_and(|promise| promise.hard && !promise.kept(start, finish))
}

/// Cost of breaking it: a fixed part and a part by lateness.
pub(crate) fn cost(job: &Job, weights: &Weights, start: Seconds, finish: Seconds) -> Cost {
    match job.promise {
        Some(promise) if !promise.kept(start, finish) => {
            let late = promise.met_at(start, finish) - promise.close;
            Cost::money(weights.promise_broken, 1_000)
                + Cost::time(weights.promise_late_per_hour, late, 1_000)
        }
        _ => Cost::ZERO,
    }
}
