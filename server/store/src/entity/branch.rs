//! Branches: a yard with its clock, currency and units of measure.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

use crate::value::{ExposureRule, PriceRule, TravelRule, UnitSystem};

/// One row of `branch`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, DeriveEntityModel)]
#[sea_orm(table_name = "branch")]
pub struct Model {
    /// The last part of its resource name.
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: String,
    /// Name on screens and sheets.
    pub display_name: String,
    /// IANA time zone.
    pub time_zone: String,
    /// ISO 4217 currency code.
    pub currency_code: String,
    /// Units of measure in answers.
    pub unit_system: UnitSystem,
    /// Degrees north of the yard.
    pub yard_latitude: f64,
    /// Degrees east of the yard.
    pub yard_longitude: f64,
    /// How travel is reckoned.
    #[sea_orm(column_type = "JsonBinary")]
    pub travel: TravelRule,
    /// What work costs and sells for.
    #[sea_orm(column_type = "JsonBinary")]
    pub price: PriceRule,
    /// What people's exposure is planned by.
    #[sea_orm(column_type = "JsonBinary")]
    #[serde(default)]
    pub exposure: ExposureRule,
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
