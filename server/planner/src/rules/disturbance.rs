//! Disturbance: what a new plan changes for people who know the plan before.

use crate::Seconds;
use crate::cost::Cost;
use crate::index::CrewIx;
use crate::problem::{Job, Previous, Weights};

/// Cost of another crew, of a start moved beyond the tolerance, and of a promise kept before and broken now.
pub(crate) fn cost(
    job: &Job,
    weights: &Weights,
    crew: CrewIx,
    start: Seconds,
    finish: Seconds,
) -> Cost {
    forward(job, weights, start) + least(job, weights, crew, start, finish)
}

/// Cost of a start earlier than before by more than the tolerance: what a later one may not have.
pub(crate) fn forward(job: &Job, weights: &Weights, start: Seconds) -> Cost {
    let early = |previous: Previous| previous.start - start > weights.moved_tolerance;
    if job.previous.is_some_and(early) {
        Cost::money(weights.moved_job, 1_000)
    } else {
        Cost::ZERO
    }
}

/// What it costs at the least with no earlier a start and finish.
pub(crate) fn least(
    job: &Job,
    weights: &Weights,
    crew: CrewIx,
    start: Seconds,
    finish: Seconds,
) -> Cost {
    let Some(previous) = job.previous else {
        return Cost::ZERO;
    };
    let mut minor_units = 0;
    if previous.crew != crew {
        minor_units += weights.changed_crew;
    }
    if start - previous.start > weights.moved_tolerance {
        minor_units += weights.moved_job;
    }
    if let Some(promise) = job.promise
        && promise.kept(previous.start, previous.finish)
        && !promise.kept(start, finish)
    {
        minor_units += weights.changed_promise;
    }
    Cost::money(minor_units, 1_000)
}
