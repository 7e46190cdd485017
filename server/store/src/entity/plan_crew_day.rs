//! A crew's day in a plan.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

use crate::value::{Exposure, PlannedBreaks, YardStop, YardStops};

/// One row of `plan_crew_day`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, DeriveEntityModel)]
#[sea_orm(table_name = "plan_crew_day")]
pub struct Model {
    /// The branch it belongs to.
    #[sea_orm(primary_key, auto_increment = false)]
    pub branch_id: String,
    /// The plan.
    #[sea_orm(primary_key, auto_increment = false)]
    pub plan_id: String,
    /// The crew.
    #[sea_orm(primary_key, auto_increment = false)]
    pub crew_id: String,
    /// Its name when the plan was made.
    pub crew_display_name: String,
    /// Leaves its base; none where it stays in.
    pub depart_time: Option<DateTimeUtc>,
    /// Is back at its base.
    pub return_time: Option<DateTimeUtc>,
    /// Load space taken.
    pub load_taken_litres: f64,
    /// Load space there is.
    pub load_space_litres: f64,
    /// Beyond the shift.
    pub overtime_seconds: i32,
    /// Its first call on the way to change units; none where it makes none.
    #[sea_orm(column_type = "JsonBinary", nullable)]
    #[serde(default)]
    pub yard_call: Option<YardStop>,
    /// Further ones, in order.
    #[sea_orm(column_type = "JsonBinary")]
    #[serde(default)]
    pub later_yard_calls: YardStops,
    /// Its breaks; none in plans made before they were kept.
    #[sea_orm(column_type = "JsonBinary", nullable)]
    #[serde(default)]
    pub breaks: Option<PlannedBreaks>,
    /// What its people are exposed to; none where it stays in, and in plans made before it was reckoned.
    #[sea_orm(column_type = "JsonBinary", nullable)]
    #[serde(default)]
    pub exposure: Option<Exposure>,
}

impl Model {
    /// All its calls on the way, in order.
    pub fn yard_calls(&self) -> impl Iterator<Item = &YardStop> {
        self.yard_call.iter().chain(&self.later_yard_calls.0)
    }
}

/// None: rows are joined by the queries that need it.
#[derive(Clone, Copy, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
