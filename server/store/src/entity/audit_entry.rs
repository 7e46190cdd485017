//! Who changed what, when, from what to what.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

/// One row of `audit_entry`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, DeriveEntityModel)]
#[sea_orm(table_name = "audit_entry")]
pub struct Model {
    /// The branch it belongs to.
    #[sea_orm(primary_key, auto_increment = false)]
    pub branch_id: String,
    /// Number of the change within the branch, from 1.
    #[sea_orm(primary_key, auto_increment = false)]
    pub seq: i64,
    /// When it was accepted.
    pub at: DateTimeUtc,
    /// Who asked for it.
    pub actor: String,
    /// The command.
    pub method: String,
    /// The caller's id of the command, where it gave one.
    pub request_id: Option<Uuid>,
    /// Resource name of what changed.
    pub subject: String,
    /// What happened to it.
    pub kind: String,
    /// The row before; none where it was created.
    #[sea_orm(column_type = "JsonBinary", nullable)]
    pub before: Option<Json>,
    /// The row after; none where it was deleted.
    #[sea_orm(column_type = "JsonBinary", nullable)]
    pub after: Option<Json>,
}

/// None: rows are joined by the queries that need it.
#[derive(Clone, Copy, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
