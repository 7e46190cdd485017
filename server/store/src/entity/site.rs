//! Sites: customers' places.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

use crate::value::{Areas, Clippings, Contact, Hazards};

/// One row of `site`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, DeriveEntityModel)]
#[sea_orm(table_name = "site")]
pub struct Model {
    /// The branch it belongs to.
    #[sea_orm(primary_key, auto_increment = false)]
    pub branch_id: String,
    /// The last part of its resource name.
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: String,
    /// Name on screens and sheets.
    pub display_name: String,
    /// Whose place it is.
    pub customer: String,
    /// Whom to call or meet.
    #[sea_orm(column_type = "JsonBinary", nullable)]
    pub contact: Option<Contact>,
    /// Postal address on one line.
    pub address: String,
    /// Degrees north.
    pub latitude: f64,
    /// Degrees east.
    pub longitude: f64,
    /// Its areas.
    #[sea_orm(column_type = "JsonBinary")]
    pub areas: Areas,
    /// Its hazards.
    #[sea_orm(column_type = "JsonBinary")]
    pub hazards: Hazards,
    /// Where clippings may go.
    pub clippings: Clippings,
    /// Clippings in words.
    pub clippings_note: String,
    /// No engine before this local time; none means no limit.
    pub quiet_until_second_of_day: Option<i32>,
    /// Cars, glass or people near: surfaces are blown before mowing.
    pub sensitive: bool,
    /// How to get in and how to leave the site.
    pub access_note: String,
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
