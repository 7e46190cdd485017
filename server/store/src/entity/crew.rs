//! Crews: people who go out together.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

use crate::value::Shifts;

/// One row of `crew`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, DeriveEntityModel)]
#[sea_orm(table_name = "crew")]
pub struct Model {
    /// The branch it belongs to.
    #[sea_orm(primary_key, auto_increment = false)]
    pub branch_id: String,
    /// The last part of its resource name.
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: String,
    /// Name on screens and sheets.
    pub display_name: String,
    /// When it works.
    #[sea_orm(column_type = "JsonBinary")]
    pub shifts: Shifts,
    /// The vehicle it drives.
    pub vehicle_id: Option<String>,
    /// The trailer behind it.
    pub trailer_id: Option<String>,
    /// Overtime that may be planned in a day.
    pub overtime_allowed_seconds: i32,
    /// Degrees north of its own base; the branch's yard where none.
    pub base_latitude: Option<f64>,
    /// Degrees east of its own base.
    pub base_longitude: Option<f64>,
    /// Break in a shift of more than six hours.
    pub break_seconds: i32,
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
