//! Promises: a customer expects the crew between two instants. Work never starts before the customer is there.

use crate::Seconds;
use crate::cost::Cost;
use crate::problem::{Job, Weights};

/// The first instant at or after `not_before` that the promise allows.
pub(crate) fn not_before(job: &Job, not_before: Seconds) -> Seconds {
    job.promise
        .map_or(not_before, |promise| not_before.max(promise.open))
}

/// The latest start, where the promise must be kept.
pub(crate) fn latest_start(job: &Job) -> Seconds {
    match job.promise {
        Some(promise) if promise.hard => promise.close,
        _ => Seconds::MAX / 4,
    }
}

/// Cost of breaking it: a fixed part and a part by lateness.
pub(crate) fn cost(job: &Job, weights: &Weights, start: Seconds) -> Cost {
    match job.promise {
        Some(promise) if start > promise.close => {
            Cost::money(weights.promise_broken, 1_000)
                + Cost::time(weights.promise_late_per_hour, start - promise.close, 1_000)
        }
        _ => Cost::ZERO,
    }
}
