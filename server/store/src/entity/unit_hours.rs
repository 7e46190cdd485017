//! Effective hours of units, summed over visits that are long over.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

/// One row of `unit_hours`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, DeriveEntityModel)]
#[sea_orm(table_name = "unit_hours")]
pub struct Model {
    /// The branch it belongs to.
    #[sea_orm(primary_key, auto_increment = false)]
    pub branch_id: String,
    /// The unit.
    #[sea_orm(primary_key, auto_increment = false)]
    pub unit_id: String,
    /// Effective hours at these visits.
    pub life_hours: f64,
    /// Of these, hours at visits that began after the service; all where there was none.
    pub since_hours: f64,
    /// The service; none where there was none.
    pub serviced_time: Option<DateTimeUtc>,
}

/// None: rows are joined by the queries that need it.
#[derive(Clone, Copy, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
