//! The bytes of photographs.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

/// One row of `photo_part`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, DeriveEntityModel)]
#[sea_orm(table_name = "photo_part")]
pub struct Model {
    /// The branch it belongs to.
    #[sea_orm(primary_key, auto_increment = false)]
    pub branch_id: String,
    /// The photograph.
    #[sea_orm(primary_key, auto_increment = false)]
    pub sha256: String,
    /// Its place among the parts, from 0.
    #[sea_orm(primary_key, auto_increment = false)]
    pub position: i32,
    /// The bytes.
    #[serde(with = "crate::value::bytes")]
    pub bytes: Vec<u8>,
}

/// None: rows are joined by the queries that need it.
#[derive(Clone, Copy, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
