//! Jobs: work wanted at a site.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

use crate::value::{JobState, Promise, SiteCondition, Tasks, VisitWindows, Words};

/// One row of `job`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, DeriveEntityModel)]
#[sea_orm(table_name = "job")]
pub struct Model {
    /// The branch it belongs to.
    #[sea_orm(primary_key, auto_increment = false)]
    pub branch_id: String,
    /// The last part of its resource name.
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: String,
    /// Name on screens and sheets.
    pub display_name: String,
    /// The site.
    pub site_id: String,
    /// The work, in the order in which it is done.
    #[sea_orm(column_type = "JsonBinary")]
    pub tasks: Tasks,
    /// Areas to work on when tasks are composed; all where empty.
    #[sea_orm(column_type = "JsonBinary")]
    pub area_ids: Words,
    /// The state of the site.
    #[sea_orm(column_type = "JsonBinary")]
    pub condition: SiteCondition,
    /// When it may be done.
    #[sea_orm(column_type = "JsonBinary")]
    pub windows: VisitWindows,
    /// The first day of any window.
    pub first_day: Date,
    /// The last day of any window.
    pub last_day: Date,
    /// 1 (can wait) to 5 (must not be missed).
    pub priority: i32,
    /// To be finished by then.
    pub deadline: Option<DateTimeUtc>,
    /// Who set the deadline.
    pub deadline_source: String,
    /// The promise to meet the customer.
    #[sea_orm(column_type = "JsonBinary", nullable)]
    pub promise: Option<Promise>,
    /// Skills the crew must have between them.
    #[sea_orm(column_type = "JsonBinary")]
    pub skills: Words,
    /// Agreed price, minor units; the estimate's where none.
    pub price_minor: Option<i64>,
    /// For the crew, in words.
    pub note: String,
    /// Where it stands.
    pub state: JobState,
    /// Why it was called off.
    pub cancel_reason: String,
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
