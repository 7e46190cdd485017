//! Units: serialised machines and tools.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

use crate::value::{Absences, Capabilities, UnitKind};

/// One row of `unit`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, DeriveEntityModel)]
#[sea_orm(table_name = "unit")]
pub struct Model {
    /// The branch it belongs to.
    #[sea_orm(primary_key, auto_increment = false)]
    pub branch_id: String,
    /// The last part of its resource name.
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: String,
    /// Name on screens and sheets.
    pub display_name: String,
    /// The maker's serial number, unique in the branch.
    pub serial_number: String,
    /// Maker's model in words.
    pub model: String,
    /// What it is.
    pub kind: UnitKind,
    /// What it can do, an attachment on its powerhead.
    #[sea_orm(column_type = "JsonBinary")]
    pub capabilities: Capabilities,
    /// The coupling of a powerhead or attachment; none for other kinds.
    pub coupling: Option<String>,
    /// Width of the cut.
    pub cutting_width_millimetres: Option<f64>,
    /// Width with which it must pass a gate; the cutting width where none.
    pub machine_width_millimetres: Option<f64>,
    /// Steepest slope it may work on; 0 means no limit is known.
    pub max_slope_percent: f64,
    /// Load space it takes on a vehicle.
    pub load_space_litres: f64,
    /// Load space it offers.
    pub carries_litres: f64,
    /// Bag or hopper volume.
    pub bag_litres: f64,
    /// Purchase price, minor units of the branch's currency.
    pub purchase_price_minor: Option<i64>,
    /// Hours run before its work was recorded here; visits add to it.
    pub run_hours: f64,
    /// Effective hours between services; 0 means none is kept.
    pub service_interval_hours: f64,
    /// Noise at the ear of whoever works it; 0 where it is not known.
    #[serde(default)]
    pub noise_dba: f64,
    /// Vibration at the hand of whoever works it; 0 where it is not known.
    #[serde(default)]
    pub vibration_metres_per_second_squared: f64,
    /// Times at which it is not there.
    #[sea_orm(column_type = "JsonBinary")]
    pub absences: Absences,
    /// Left the fleet.
    pub retired: bool,
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
