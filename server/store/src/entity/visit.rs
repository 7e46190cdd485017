//! What really happened at a job.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

use crate::value::TaskActuals;

/// One row of `visit`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, DeriveEntityModel)]
#[sea_orm(table_name = "visit")]
pub struct Model {
    /// The branch it belongs to.
    #[sea_orm(primary_key, auto_increment = false)]
    pub branch_id: String,
    /// The job.
    #[sea_orm(primary_key, auto_increment = false)]
    pub job_id: String,
    /// The plan it was done by.
    pub plan_id: String,
    /// The crew.
    pub crew_id: String,
    /// When work began.
    pub start_time: DateTimeUtc,
    /// When it was done; none while it runs.
    pub finish_time: Option<DateTimeUtc>,
    /// What each task took.
    #[sea_orm(column_type = "JsonBinary")]
    pub task_actuals: TaskActuals,
    /// Bags taken away.
    pub bags: i32,
    /// What the office should know.
    pub note: String,
}

/// None: rows are joined by the queries that need it.
#[derive(Clone, Copy, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
