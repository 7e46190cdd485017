//! What photographs are of.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

/// One row of `photo_subject`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, DeriveEntityModel)]
#[sea_orm(table_name = "photo_subject")]
pub struct Model {
    /// The branch it belongs to.
    #[sea_orm(primary_key, auto_increment = false)]
    pub branch_id: String,
    /// Resource name of the job, tag-out or case.
    #[sea_orm(primary_key, auto_increment = false)]
    pub subject: String,
    /// The photograph.
    #[sea_orm(primary_key, auto_increment = false)]
    pub sha256: String,
    /// When it was said to be of it.
    pub create_time: DateTimeUtc,
}

/// None: rows are joined by the queries that need it.
#[derive(Clone, Copy, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
