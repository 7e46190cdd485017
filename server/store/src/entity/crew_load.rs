//! What a crew has loaded, as it confirmed.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

use crate::value::Words;

/// One row of `crew_load`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, DeriveEntityModel)]
#[sea_orm(table_name = "crew_load")]
pub struct Model {
    /// The branch it belongs to.
    #[sea_orm(primary_key, auto_increment = false)]
    pub branch_id: String,
    /// The plan it loaded for.
    #[sea_orm(primary_key, auto_increment = false)]
    pub plan_id: String,
    /// The crew.
    #[sea_orm(primary_key, auto_increment = false)]
    pub crew_id: String,
    /// When it had loaded.
    pub load_time: DateTimeUtc,
    /// Units of the load-out that are not aboard.
    #[sea_orm(column_type = "JsonBinary")]
    pub missing_unit_ids: Words,
}

/// None: rows are joined by the queries that need it.
#[derive(Clone, Copy, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
