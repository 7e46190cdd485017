//! Which deadlines a plan misses newly, and what to say of them.

use std::collections::BTreeMap;

use chrono::{DateTime, DurationRound, TimeDelta, Utc};
use forenoon_store::entity::{job, plan_stop};

use crate::changes::is_over;
use crate::inputs::DayInputs;
use crate::stored_plan::StoredPlan;

/// The jobs whose deadline a plan misses and the one gone on from keeps, and those that have come in since, each with what
/// becomes of it in words.
pub(crate) fn missed(
    inputs: &DayInputs,
    before: &StoredPlan,
    after: &StoredPlan,
) -> BTreeMap<String, String> {
    let jobs = inputs.jobs.iter();
    jobs.filter_map(|job| Some((job.id.clone(), misses(inputs, before, after, job)?)))
        .collect()
}

/// A deadline newly missed, in words, as "done at 12:24, past its deadline of 12:00"; none where it is not. Of a job that is
/// over nothing can be told any more.
fn misses(
    inputs: &DayInputs,
    before: &StoredPlan,
    after: &StoredPlan,
    job: &job::Model,
) -> Option<String> {
    let deadline = job.deadline?;
    let new = after.stop_of(&job.id);
    // Of a job that is split the rest waits.
    let whole = new.filter(|_| !inputs.split.contains_key(&job.id));
    let newly = is_new(before, &job.id) || keeps(inputs, job, before.stop_of(&job.id));
    if !newly || keeps(inputs, job, whole) || is_over(inputs, &job.id).is_some() {
        return None;
    }
    let clock = |at| inputs.clock.words_with_day(at);
    let due = clock(deadline);
    let Some(stop) = whole else {
        let all = if new.is_some() { "all " } else { "" };
        return Some(format!("not {all}done by its deadline of {due}"));
    };
    // Late by seconds is late by a minute: nobody is told that 12:00 is past 12:00.
    let late = |at: DateTime<Utc>| at.duration_round_up(TimeDelta::minutes(1)).unwrap_or(at);
    let done = clock(late(stop.finish_time));
    Some(format!("done at {done}, past its deadline of {due}"))
}

/// Whether a plan knows nothing of a job: it was made before the job was.
pub(crate) fn is_new(before: &StoredPlan, job: &str) -> bool {
    let mut left = before.parts.unplanned.iter();
    before.stop_of(job).is_none() && !left.any(|row| row.job_id == job)
}

/// Whether a job's deadline can be kept with a plan that does all of it, where it does it. What is left may be done on another
/// day, where the deadline is not of this one.
fn keeps(inputs: &DayInputs, job: &job::Model, stop: Option<&plan_stop::Model>) -> bool {
    let clock = &inputs.clock;
    job.deadline.is_none_or(|deadline| match stop {
        Some(stop) => stop.finish_time <= deadline,
        None => clock.seconds(deadline) > clock.length(),
    })
}
