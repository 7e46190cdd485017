//! The parts of a draft, in one document. They become rows when the draft is published.

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
    /// Its parts: [`PlanParts`] as JSON, which is written in one go. To take it apart again is left to whoever reads it.
    #[sea_orm(column_type = "Text")]
    pub parts: String,
}

/// All parts of a plan: crew days by crew, load-outs by unit, stops by crew and position, unplanned jobs by position.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
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

impl PlanParts {
    /// The document that keeps them.
    ///
    /// # Errors
    /// Where they cannot be written as JSON, which is a fault of ours.
    pub fn to_document(&self) -> serde_json::Result<String> {
        serde_json::to_string(self)
    }

    /// What a document keeps.
    ///
    /// # Errors
    /// Where it is not what [`PlanParts::to_document`] writes.
    pub fn of_document(text: &str) -> serde_json::Result<Self> {
        serde_json::from_str(text)
    }
}

/// None: rows are joined by the queries that need it.
#[derive(Clone, Copy, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
