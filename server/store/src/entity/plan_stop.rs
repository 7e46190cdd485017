//! A crew's visits in a plan, each job once at most.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

use crate::value::PlannedTasks;

/// One row of `plan_stop`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, DeriveEntityModel)]
#[sea_orm(table_name = "plan_stop")]
pub struct Model {
    /// The branch it belongs to.
    #[sea_orm(primary_key, auto_increment = false)]
    pub branch_id: String,
    /// The plan.
    #[sea_orm(primary_key, auto_increment = false)]
    pub plan_id: String,
    /// The job.
    #[sea_orm(primary_key, auto_increment = false)]
    pub job_id: String,
    /// The crew.
    pub crew_id: String,
    /// Place in the crew's day, counted from 0.
    pub position: i32,
    /// The site.
    pub site_id: String,
    /// The site's name when the plan was made.
    pub site_display_name: String,
    /// Arrives.
    pub arrive_time: DateTimeUtc,
    /// Begins; later than arrival where it waits.
    pub start_time: DateTimeUtc,
    /// Is done.
    pub finish_time: DateTimeUtc,
    /// Drive from the stop before, or from the base.
    pub drive_seconds: i32,
    /// By how much it could begin later with nothing broken.
    pub slack_seconds: i32,
    /// The work, in order.
    #[sea_orm(column_type = "JsonBinary")]
    pub tasks: PlannedTasks,
    /// Done or running when the plan was made.
    pub fixed: bool,
}

/// None: rows are joined by the queries that need it.
#[derive(Clone, Copy, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
