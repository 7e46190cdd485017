//! What crews report.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::{json_list, words};

words!(
    /// Where a visit stands.
    VisitState {
        /// The crew drives there.
        UnderWay,
        /// The crew is there.
        Arrived,
        /// Work goes on.
        Working,
        /// Work stands still.
        Paused,
        /// Done.
        Done,
        /// Could not be done.
        NotDone,
    }
);

words!(
    /// Whether the customer came along on a walk of the site.
    WalkOutcome {
        /// The customer walked along.
        Met,
        /// Nobody was home; photographs stand in.
        NotHome,
        /// The crew walked alone, as planned.
        CrewOnly,
    }
);

/// What one task took.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct TaskActual {
    /// The task's id within the job.
    pub task_id: String,
    /// Time taken.
    pub duration_seconds: i32,
    /// The units used, ids within the branch.
    pub unit_ids: Vec<String>,
}

json_list!(
    /// What a visit's tasks took.
    TaskActuals of TaskActual
);

/// Work stopped for a while.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Pause {
    /// When it stopped.
    pub pause_time: DateTime<Utc>,
    /// Why; may be empty.
    pub reason: String,
}

json_list!(
    /// The pauses of a visit, in order of time.
    Pauses of Pause
);

json_list!(
    /// Points in time, in order.
    Times of DateTime<Utc>
);

/// A walk of the site.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Walkthrough {
    /// Before the work, else after it.
    pub before_work: bool,
    /// Whether the customer was there.
    pub outcome: WalkOutcome,
    /// When.
    pub walk_time: DateTime<Utc>,
    /// What was seen or agreed.
    pub note: String,
    /// Photographs taken, by their SHA-256.
    pub photos: Vec<String>,
}

json_list!(
    /// The walks of a visit: one before the work and one after it at most.
    Walkthroughs of Walkthrough
);
