//! Up to when the hours of a branch's units are summed.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

/// One row of `hours_settled`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, DeriveEntityModel)]
#[sea_orm(table_name = "hours_settled")]
pub struct Model {
    /// The branch.
    #[sea_orm(primary_key, auto_increment = false)]
    pub branch_id: String,
    /// Visits finished by then are in the sums.
    pub until_time: DateTimeUtc,
}

/// None: rows are joined by the queries that need it.
#[derive(Clone, Copy, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
