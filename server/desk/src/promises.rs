//! Which promises to meet customers a plan keeps, and what to say of those that it keeps no longer.

use chrono::{DateTime, DurationRound, TimeDelta, Utc};
use forenoon_store::entity::plan_stop;
use forenoon_store::value::{Contact, Promise, WalkOutcome};

use crate::inputs::DayInputs;
use crate::stored_plan::StoredPlan;

/// A promise that the plan gone on from keeps and another does not.
pub(crate) struct Broken<'a> {
    /// Who waits, where it isn't the site's contact.
    pub(crate) contact: Option<&'a Contact>,
    /// What becomes of it, in words.
    pub(crate) words: String,
}

/// The promise of a job that breaks from one plan to another, where one does and somebody can still be told: who was to be met
/// by now knows already.
pub(crate) fn breaks<'a>(
    inputs: &'a DayInputs,
    before: &StoredPlan,
    after: &StoredPlan,
    job: &str,
) -> Option<Broken<'a>> {
    let promise = promise_of(inputs, job)?;
    let new = after.stop_of(job);
    let newly = keeps(inputs, before, job) && !keeps(inputs, after, job);
    let to_come = new.map_or_else(
        || is_of_the_day(inputs, promise),
        |new| !is_past(inputs, promise, new),
    );
    (newly && to_come).then(|| Broken {
        contact: promise.contact.as_ref(),
        words: words(inputs, promise, new),
    })
}

fn promise_of<'a>(inputs: &'a DayInputs, job: &str) -> Option<&'a Promise> {
    let mut jobs = inputs.jobs.iter();
    jobs.find(|known| known.id == job)?.promise.as_ref()
}

/// Whether the day is the promise's: that of another day breaks by nothing that is left on this one.
fn is_of_the_day(inputs: &DayInputs, promise: &Promise) -> bool {
    let clock = &inputs.clock;
    let days = clock.day_of(promise.start_time)..=clock.day_of(promise.end_time);
    days.contains(&clock.day())
}

/// Whether the crew has come for the meeting, or left after it.
fn is_past(inputs: &DayInputs, promise: &Promise, stop: &plan_stop::Model) -> bool {
    let meets = if promise.before_work {
        stop.start_time
    } else {
        stop.finish_time
    };
    let from = inputs.base.as_ref().map(|(_, from)| *from);
    stop.fixed && from.is_some_and(|from| meets <= from)
}

/// A broken promise, as "there at 14:48, not by 14:45 as promised".
fn words(inputs: &DayInputs, promise: &Promise, new: Option<&plan_stop::Model>) -> String {
    let clock = |at| inputs.clock.words_with_day(at);
    let (open, close) = (clock(promise.start_time), clock(promise.end_time));
    // Late by seconds is late by a minute: nobody is told that 14:45 is not by 14:45.
    let late = |at: DateTime<Utc>| clock(at.duration_round_up(TimeDelta::minutes(1)).unwrap_or(at));
    match new {
        None => format!("the meeting promised for {open} to {close} falls away"),
        Some(stop) if !promise.before_work => {
            format!(
                "done at {}, not by {close} as promised",
                late(stop.finish_time)
            )
        }
        Some(stop) if stop.start_time < promise.start_time => {
            format!(
                "there at {}, not from {open} on as promised",
                clock(stop.start_time)
            )
        }
        Some(stop) => format!(
            "there at {}, not by {close} as promised",
            late(stop.start_time)
        ),
    }
}

/// The promises of the day that the plan keeps, and those that it breaks.
pub(crate) fn promises(
    inputs: &DayInputs,
    before: &StoredPlan,
    after: &StoredPlan,
) -> (Vec<String>, Vec<String>) {
    inputs
        .jobs
        .iter()
        .filter(|job| job.promise.is_some())
        .filter(|job| before.stop_of(&job.id).is_some() || after.stop_of(&job.id).is_some())
        .map(|job| job.id.clone())
        .partition(|id| keeps(inputs, after, id))
}

fn keeps(inputs: &DayInputs, plan: &StoredPlan, job: &str) -> bool {
    let (Some(promise), Some(stop)) = (promise_of(inputs, job), plan.stop_of(job)) else {
        return false;
    };
    if let Some(met) = met_at(inputs, job, promise.before_work) {
        return met <= promise.end_time;
    }
    if promise.before_work {
        let begins = begun_at(inputs, job).unwrap_or(stop.start_time);
        return (promise.start_time..=promise.end_time).contains(&begins);
    }
    // A crew that is done early waits for the customer, unless it has left.
    let has_left = inputs
        .visits
        .get(job)
        .and_then(|visit| visit.finish_time)
        .is_some_and(|finish| finish < promise.start_time);
    !has_left && stop.finish_time <= promise.end_time
}

/// When the customer walked the site with the crew, as reported: before the work or after it.
fn met_at(inputs: &DayInputs, job: &str, before_work: bool) -> Option<DateTime<Utc>> {
    let walks = &inputs.visits.get(job)?.walkthroughs.0;
    walks
        .iter()
        .find(|walk| walk.before_work == before_work && walk.outcome == WalkOutcome::Met)
        .map(|walk| walk.walk_time)
}

/// When the work of a job that goes on began: its stop is for the rest and begins later.
fn begun_at(inputs: &DayInputs, job: &str) -> Option<DateTime<Utc>> {
    if !inputs.goes_on(job) {
        return None;
    }
    let reported = inputs.visits.get(job).and_then(|visit| visit.start_time);
    let planned = inputs.base.as_ref().and_then(|(base, _)| base.stop_of(job));
    reported.or_else(|| planned.map(|stop| stop.start_time))
}
