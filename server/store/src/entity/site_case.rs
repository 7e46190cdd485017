//! Cases: damage, callbacks and complaints.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

use crate::value::{CaseKind, Words};

/// One row of `site_case`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, DeriveEntityModel)]
#[sea_orm(table_name = "site_case")]
pub struct Model {
    /// The branch it belongs to.
    #[sea_orm(primary_key, auto_increment = false)]
    pub branch_id: String,
    /// The last part of its resource name.
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: String,
    /// Its number within the branch.
    pub number: i64,
    /// What it is about.
    pub kind: CaseKind,
    /// The job it came of.
    pub job_id: String,
    /// What happened.
    pub description: String,
    /// What caused it.
    pub cause: String,
    /// Photographs, by their SHA-256.
    #[sea_orm(column_type = "JsonBinary")]
    pub photos: Words,
    /// Who told it.
    pub reported_by: String,
    /// The hazard added to the site; none but for damage.
    pub hazard_id: Option<String>,
    /// The return job; none but for callbacks.
    pub return_job_id: Option<String>,
    /// Whether it is closed.
    pub closed: bool,
    /// How it ended; empty while it is open.
    pub resolution: String,
    /// Counts changes; the source of the etag.
    pub revision: i64,
    /// When it was opened.
    pub create_time: DateTimeUtc,
    /// When it last changed.
    pub update_time: DateTimeUtc,
}

/// None: rows are joined by the queries that need it.
#[derive(Clone, Copy, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
