//! Which crew has which unit aboard, and when: each unit is with one crew of a plan at a time.

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
    /// Which of the unit's spells in the plan it is, in order of time, from 0.
    #[sea_orm(primary_key, auto_increment = false)]
    #[serde(default)]
    pub spell: i32,
    /// The crew that has it aboard.
    pub crew_id: String,
    /// When the crew takes it; none where it has it from the beginning, and in plans made before that was kept.
    #[serde(default)]
    pub from_time: Option<DateTimeUtc>,
    /// When the crew has put it down; none where it keeps it to the end of its day, and in plans made before that was kept.
    #[serde(default)]
    pub until_time: Option<DateTimeUtc>,
}

/// None: rows are joined by the queries that need it.
#[derive(Clone, Copy, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
