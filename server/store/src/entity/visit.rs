//! What really happened at a job: one row for each attempt.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

use crate::value::{Pauses, TaskActuals, Times, VisitState, Walkthroughs};

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
    /// Its number among the attempts at the job, from 1. All but the last were given up.
    #[sea_orm(primary_key, auto_increment = false)]
    pub attempt: i32,
    /// The plan it was done by.
    pub plan_id: String,
    /// The crew.
    pub crew_id: String,
    /// Where it stands.
    pub state: VisitState,
    /// When the crew left for it, where told.
    pub depart_time: Option<DateTimeUtc>,
    /// When the crew was there, where told.
    pub arrive_time: Option<DateTimeUtc>,
    /// When work began; none before.
    pub start_time: Option<DateTimeUtc>,
    /// When it was done or given up; none before.
    pub finish_time: Option<DateTimeUtc>,
    /// When work stopped for a while, and why.
    #[sea_orm(column_type = "JsonBinary")]
    pub pauses: Pauses,
    /// When it went on.
    #[sea_orm(column_type = "JsonBinary")]
    pub resume_times: Times,
    /// What each task took.
    #[sea_orm(column_type = "JsonBinary")]
    pub task_actuals: TaskActuals,
    /// Bags taken away.
    pub bags: i32,
    /// What the office should know.
    pub note: String,
    /// Why it was not done; empty otherwise.
    pub not_done_reason: String,
    /// The plan whose publishing ended it, as it gave the rest to another crew or left it for another day; none where the
    /// crew itself ended it.
    pub ended_by_plan_id: Option<String>,
    /// The walks of the site.
    #[sea_orm(column_type = "JsonBinary")]
    pub walkthroughs: Walkthroughs,
}

/// None: rows are joined by the queries that need it.
#[derive(Clone, Copy, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
