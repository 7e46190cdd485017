//! What a stored visit tells, as the trade reads it.

use chrono::{DateTime, Utc};
use forenoon_store::entity::visit;
use forenoon_store::value::VisitState;
use forenoon_trade::visit::{Ending, Visit};

/// What a row tells.
pub fn told(row: &visit::Model) -> Visit<DateTime<Utc>> {
    Visit {
        departed: row.depart_time,
        arrived: row.arrive_time,
        started: row.start_time,
        paused: row.pauses.0.iter().map(|pause| pause.pause_time).collect(),
        resumed: row.resume_times.0.iter().copied().collect(),
        ended: row.finish_time.map(|at| {
            let ending = if row.state == VisitState::NotDone {
                Ending::NotDone
            } else {
                Ending::Done
            };
            (ending, at)
        }),
    }
}

/// Whether the crew gave the job up. A visit that a plan ended was not given up: that plan, and those made from it, know
/// where the rest is to be done, which may be with the same crew.
pub fn is_given_up(row: &visit::Model) -> bool {
    row.state == VisitState::NotDone && row.ended_by_plan_id.is_none()
}

/// Seconds for which work stood still between two instants.
pub(crate) fn stood_still(row: &visit::Model, from: DateTime<Utc>, until: DateTime<Utc>) -> i64 {
    told(row)
        .pauses()
        .into_iter()
        .map(|(begins, ends)| seconds_between(from, until, begins, ends.unwrap_or(until)))
        .sum()
}

/// Seconds of a stretch that lie between two instants.
pub(crate) fn seconds_between(
    from: DateTime<Utc>,
    until: DateTime<Utc>,
    begins: DateTime<Utc>,
    ends: DateTime<Utc>,
) -> i64 {
    let within = |at: DateTime<Utc>| at.clamp(from, from.max(until));
    (within(ends) - within(begins)).num_seconds()
}
