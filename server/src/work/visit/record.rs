//! Visits between rows and the state machine of the trade.

use std::collections::BTreeSet;

use chrono::{DateTime, Utc};
use forenoon_desk::visit::told;
use forenoon_store::entity::visit;
use forenoon_store::value::{Pause, Pauses, TaskActuals, Times, VisitState, Walkthroughs};
use forenoon_trade::visit::{State, Visit};

/// A visit of which nothing is told yet.
pub(super) fn fresh(branch: &str, job: &str, attempt: i32) -> visit::Model {
    visit::Model {
        branch_id: branch.to_owned(),
        job_id: job.to_owned(),
        attempt,
        plan_id: String::new(),
        crew_id: String::new(),
        state: VisitState::UnderWay,
        depart_time: None,
        arrive_time: None,
        start_time: None,
        finish_time: None,
        pauses: Pauses::default(),
        resume_times: Times::default(),
        task_actuals: TaskActuals::default(),
        bags: 0,
        note: String::new(),
        not_done_reason: String::new(),
        ended_by_plan_id: None,
        walkthroughs: Walkthroughs::default(),
    }
}

/// Writes what is told into a row. A pause that is new gets the reason.
pub(super) fn tell(row: &mut visit::Model, visit: &Visit<DateTime<Utc>>, reason: &str) {
    row.state = match visit.state() {
        State::UnderWay => VisitState::UnderWay,
        State::Arrived => VisitState::Arrived,
        State::Working => VisitState::Working,
        State::Paused => VisitState::Paused,
        State::Done => VisitState::Done,
        State::NotDone => VisitState::NotDone,
    };
    row.depart_time = visit.departed;
    row.arrive_time = visit.arrived;
    row.start_time = visit.started;
    row.finish_time = visit.ended.map(|(_, at)| at);
    let known: BTreeSet<DateTime<Utc>> =
        row.pauses.0.iter().map(|pause| pause.pause_time).collect();
    row.pauses
        .0
        .extend(visit.paused.difference(&known).map(|&pause_time| Pause {
            pause_time,
            reason: reason.to_owned(),
        }));
    row.pauses.0.sort_by_key(|pause| pause.pause_time);
    row.resume_times = Times(visit.resumed.iter().copied().collect());
}

/// A stretch in which work stood still.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stretch {
    /// When it stopped.
    pub start: DateTime<Utc>,
    /// When it went on; none while it lasts.
    pub end: Option<DateTime<Utc>>,
    /// Why; may be empty.
    pub reason: String,
}

/// The stretches in which work stood still, in order.
pub fn pauses(row: &visit::Model) -> Vec<Stretch> {
    told(row)
        .pauses()
        .into_iter()
        .map(|(start, end)| Stretch {
            start,
            end,
            reason: row
                .pauses
                .0
                .iter()
                .find(|pause| pause.pause_time == start)
                .map_or_else(String::new, |pause| pause.reason.clone()),
        })
        .collect()
}
