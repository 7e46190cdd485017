//! The last number given to a change of each branch.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

/// One row of `branch_sequence`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, DeriveEntityModel)]
#[sea_orm(table_name = "branch_sequence")]
pub struct Model {
    /// The branch.
    #[sea_orm(primary_key, auto_increment = false)]
    pub branch_id: String,
    /// The last number given.
    pub last_seq: i64,
}

/// None: rows are joined by the queries that need it.
#[derive(Clone, Copy, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
