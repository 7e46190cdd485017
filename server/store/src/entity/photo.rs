//! Photographs, without their bytes.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

use crate::value::MediaType;

/// One row of `photo`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, DeriveEntityModel)]
#[sea_orm(table_name = "photo")]
pub struct Model {
    /// The branch it belongs to.
    #[sea_orm(primary_key, auto_increment = false)]
    pub branch_id: String,
    /// SHA-256 of its bytes, in lower-case hexadecimal.
    #[sea_orm(primary_key, auto_increment = false)]
    pub sha256: String,
    /// What its bytes are.
    pub media_type: MediaType,
    /// How many there are.
    pub size_bytes: i32,
    /// When it was first stored.
    pub create_time: DateTimeUtc,
}

/// None: rows are joined by the queries that need it.
#[derive(Clone, Copy, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
