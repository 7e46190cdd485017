//! What crews report.

use serde::{Deserialize, Serialize};

use super::json_list;

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
