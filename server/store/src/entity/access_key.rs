//! Keys with which people and programs sign in.

use sea_orm::entity::prelude::*;

use crate::value::Roles;

/// One row of `access_key`.
#[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
#[sea_orm(table_name = "access_key")]
pub struct Model {
    /// What it is called by when it is ended: a part of the digest, which gives nothing away.
    #[sea_orm(primary_key, auto_increment = false)]
    pub id: String,
    /// The only branch it is good for; none where it is every branch.
    pub branch_id: Option<String>,
    /// The worker who holds it, whose roles hold; none where somebody else does.
    pub worker_id: Option<String>,
    /// Who holds it, in words.
    pub holder: String,
    /// The roles of a holder who is no worker.
    #[sea_orm(column_type = "JsonBinary")]
    pub roles: Roles,
    /// Its holder may do everything in the branches it is good for.
    pub everything: bool,
    /// The key's SHA-256.
    pub digest: Vec<u8>,
    /// When it was given out.
    pub issue_time: DateTimeUtc,
    /// When it ceased to be good; none while it is.
    pub end_time: Option<DateTimeUtc>,
}

/// None: rows are joined by the queries that need it.
#[derive(Clone, Copy, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
