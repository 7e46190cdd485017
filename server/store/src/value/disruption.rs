//! What keeps a day from going as planned, and what is left of work that was broken off.

use chrono::{DateTime, Utc};
use sea_orm::FromJsonQueryResult;
use serde::{Deserialize, Serialize};

use super::{TaskKind, UnitMoved};

/// A job that takes longer.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Overrun {
    /// The job.
    pub job_id: String,
    /// Beyond the plan.
    pub extra_seconds: i64,
}

/// A kind of work that can't be done for a while.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct WorkStop {
    /// The kinds.
    pub kinds: Vec<TaskKind>,
    /// From when.
    pub start_time: DateTime<Utc>,
    /// Until when.
    pub end_time: DateTime<Utc>,
}

/// What happened on a day that no record tells. Ids are within the branch.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, FromJsonQueryResult)]
pub struct Disruptions {
    /// Crews that can't go on.
    pub absent_crews: Vec<String>,
    /// Workers who are not there.
    pub absent_workers: Vec<String>,
    /// Jobs that take longer.
    pub overruns: Vec<Overrun>,
    /// Work that has to wait.
    pub work_stops: Vec<WorkStop>,
    /// Crews that were said to be absent and are there: told newly, and not kept with a plan.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub present_crews: Vec<String>,
    /// Workers of whom the same is told.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub present_workers: Vec<String>,
    /// Kinds of work that had to wait and need not any longer: told newly, and not kept with a plan.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub resumed_kinds: Vec<TaskKind>,
    /// Units that somebody moved: told newly, and kept with a plan as what is where.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub units_moved: Vec<UnitMoved>,
}

/// What is left of one task.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct TaskLeft {
    /// The task's id within the job.
    pub task_id: String,
    /// The share of it still to be done, thousandths; 1 to 1,000.
    pub permille: i64,
}

/// A job of which a part is done on the plan's day and the rest on another. Publishing the plan makes the rest a job of
/// its own.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct SplitJob {
    /// The job.
    pub job_id: String,
    /// Tasks done on the day, by id.
    pub today: Vec<String>,
    /// Tasks of the rest, by id. Walks and clearing up are in both.
    pub later: Vec<String>,
}

/// A job that was begun and broken off: its stop in a later plan is for the rest.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Continued {
    /// The job.
    pub job_id: String,
    /// The crew that began it.
    pub crew_id: String,
    /// What is left, in order.
    pub tasks: Vec<TaskLeft>,
}
