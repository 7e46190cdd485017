//! Services of units.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

/// One row of `unit_service`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, DeriveEntityModel)]
#[sea_orm(table_name = "unit_service")]
pub struct Model {
    /// The branch it belongs to.
    #[sea_orm(primary_key, auto_increment = false)]
    pub branch_id: String,
    /// Its id within the branch.
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: String,
    /// The unit.
    pub unit_id: String,
    /// Who did it, a worker.
    pub mechanic_id: String,
    /// What was done.
    pub work: String,
    /// Effective hours over the unit's life when it was done.
    pub effective_hours: f64,
    /// When it was done.
    pub service_time: DateTimeUtc,
    /// When it was recorded.
    pub create_time: DateTimeUtc,
}

/// None: rows are joined by the queries that need it.
#[derive(Clone, Copy, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
