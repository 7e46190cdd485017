//! Workers.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

use crate::value::{Roles, Words};

/// One row of `worker`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, DeriveEntityModel)]
#[sea_orm(table_name = "worker")]
pub struct Model {
    /// The branch it belongs to.
    #[sea_orm(primary_key, auto_increment = false)]
    pub branch_id: String,
    /// The last part of its resource name.
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: String,
    /// Name on screens and sheets.
    pub display_name: String,
    /// The crew.
    pub crew_id: Option<String>,
    /// What the worker may do for the server.
    #[sea_orm(column_type = "JsonBinary")]
    pub roles: Roles,
    /// Skills.
    #[sea_orm(column_type = "JsonBinary")]
    pub skills: Words,
    /// Telephone number as it should be dialled.
    pub phone: String,
    /// Cost of an hour, minor units; the branch's rate where none.
    pub cost_per_hour_minor: Option<i64>,
    /// Counts changes; the source of the etag.
    pub revision: i64,
    /// When it was created.
    pub create_time: DateTimeUtc,
    /// When it last changed.
    pub update_time: DateTimeUtc,
}

/// None: rows are joined by the queries that need it.
#[derive(Clone, Copy, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
