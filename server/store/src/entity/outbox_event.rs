//! What watchers and other systems are told.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

/// One row of `outbox_event`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, DeriveEntityModel)]
#[sea_orm(table_name = "outbox_event")]
pub struct Model {
    /// The branch it belongs to.
    #[sea_orm(primary_key, auto_increment = false)]
    pub branch_id: String,
    /// Number of the change within the branch, from 1.
    #[sea_orm(primary_key, auto_increment = false)]
    pub seq: i64,
    /// What happened.
    pub kind: String,
    /// Resource name of what changed.
    pub subject: String,
    /// What it is like now.
    #[sea_orm(column_type = "JsonBinary")]
    pub body: Json,
    /// When it was accepted.
    pub at: DateTimeUtc,
}

/// None: rows are joined by the queries that need it.
#[derive(Clone, Copy, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
