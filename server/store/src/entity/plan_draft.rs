//! The parts of a draft, in one document. They become rows when the draft is published.

use std::fmt;
use std::str::FromStr;

use sea_orm::DeriveValueType;
use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

use super::{plan_crew_day, plan_load_out, plan_stop, plan_unplanned};

/// One row of `plan_draft`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, DeriveEntityModel)]
#[sea_orm(table_name = "plan_draft")]
pub struct Model {
    /// The branch it belongs to.
    #[sea_orm(primary_key, auto_increment = false)]
    pub branch_id: String,
    /// The plan.
    #[sea_orm(primary_key, auto_increment = false)]
    pub plan_id: String,
    /// Its parts.
    #[sea_orm(column_type = "Text")]
    pub parts: PlanParts,
}

/// All parts of a plan: crew days by crew, load-outs by unit, stops by crew and position, unplanned jobs by position.
///
/// In the database they are JSON as text, which is written in one go: to take it apart again is left to whoever reads it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, DeriveValueType)]
#[sea_orm(value_type = "String")]
pub struct PlanParts {
    /// Its crews' days.
    pub crew_days: Vec<plan_crew_day::Model>,
    /// The units aboard.
    pub load_outs: Vec<plan_load_out::Model>,
    /// The visits.
    pub stops: Vec<plan_stop::Model>,
    /// The jobs that did not fit.
    pub unplanned: Vec<plan_unplanned::Model>,
}

impl fmt::Display for PlanParts {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&serde_json::to_string(self).map_err(|_| fmt::Error)?)
    }
}

impl FromStr for PlanParts {
    type Err = serde_json::Error;

    fn from_str(text: &str) -> Result<Self, Self::Err> {
        serde_json::from_str(text)
    }
}

/// None: rows are joined by the queries that need it.
#[derive(Clone, Copy, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
