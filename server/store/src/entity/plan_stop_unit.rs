//! The units each stop works with, as the database guards them.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

/// One row of `plan_stop_unit`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, DeriveEntityModel)]
#[sea_orm(table_name = "plan_stop_unit")]
pub struct Model {
    /// The branch it belongs to.
    #[sea_orm(primary_key, auto_increment = false)]
    pub branch_id: String,
    /// The plan.
    #[sea_orm(primary_key, auto_increment = false)]
    pub plan_id: String,
    /// The job of the stop.
    #[sea_orm(primary_key, auto_increment = false)]
    pub job_id: String,
    /// The unit.
    #[sea_orm(primary_key, auto_increment = false)]
    pub unit_id: String,
}

/// None: rows are joined by the queries that need it.
#[derive(Clone, Copy, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
