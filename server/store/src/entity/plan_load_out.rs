//! The units aboard, each with one crew of a plan at most.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

/// One row of `plan_load_out`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, DeriveEntityModel)]
#[sea_orm(table_name = "plan_load_out")]
pub struct Model {
    /// The branch it belongs to.
    #[sea_orm(primary_key, auto_increment = false)]
    pub branch_id: String,
    /// The plan.
    #[sea_orm(primary_key, auto_increment = false)]
    pub plan_id: String,
    /// The unit.
    #[sea_orm(primary_key, auto_increment = false)]
    pub unit_id: String,
    /// The crew that has it aboard.
    pub crew_id: String,
}

/// None: rows are joined by the queries that need it.
#[derive(Clone, Copy, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
