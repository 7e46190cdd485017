//! Day plans. Their crew days, load-outs and stops are rows of their own.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

use crate::value::{HeatForecast, PlanChanges, PlanState, PlanTotals, ProposalFacts, Words};

/// One row of `plan`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, DeriveEntityModel)]
#[sea_orm(table_name = "plan")]
pub struct Model {
    /// The branch it belongs to.
    #[sea_orm(primary_key, auto_increment = false)]
    pub branch_id: String,
    /// The last part of its resource name, `{day}-{revision}`.
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: String,
    /// The branch's local date.
    pub day: Date,
    /// Counts from 1 for each day.
    pub day_revision: i32,
    /// Where it stands.
    pub state: PlanState,
    /// The plan it was made from; none for one made from scratch.
    pub base_plan_id: Option<String>,
    /// Sums over the day.
    #[sea_orm(column_type = "JsonBinary")]
    pub totals: PlanTotals,
    /// The seed of its search.
    pub seed: i64,
    /// Iterations its search made.
    pub iterations: i64,
    /// What made a re-plan necessary, in words; empty for other plans.
    pub cause: String,
    /// What a proposal would change.
    #[sea_orm(column_type = "JsonBinary")]
    pub changes: PlanChanges,
    /// Ids of sites whose customers a proposal wants phoned.
    #[sea_orm(column_type = "JsonBinary")]
    pub sites_to_phone: Words,
    /// The weather it was made for; none where the caller gave none.
    #[sea_orm(column_type = "JsonBinary", nullable)]
    #[serde(default)]
    pub heat: Option<HeatForecast>,
    /// What it was read from, and what a proposal says beside its stops; none in plans made from scratch before that was kept.
    #[sea_orm(column_type = "JsonBinary", nullable)]
    #[serde(default)]
    pub proposal: Option<ProposalFacts>,
    /// Who made it.
    pub created_by: String,
    /// When it was published; none where it never was.
    pub publish_time: Option<DateTimeUtc>,
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
