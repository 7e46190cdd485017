//! The jobs that did not fit into a plan.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

use crate::value::Reasons;

/// One row of `plan_unplanned`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, DeriveEntityModel)]
#[sea_orm(table_name = "plan_unplanned")]
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
    /// Place in the list, most urgent first, counted from 0.
    pub position: i32,
    /// Its name when the plan was made.
    pub job_display_name: String,
    /// Why.
    #[sea_orm(column_type = "JsonBinary")]
    pub reasons: Reasons,
}

/// None: rows are joined by the queries that need it.
#[derive(Clone, Copy, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
