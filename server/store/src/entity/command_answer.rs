//! Answers kept for retries of the same command.

use sea_orm::entity::prelude::*;
use serde::{Deserialize, Serialize};

/// One row of `command_answer`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, DeriveEntityModel)]
#[sea_orm(table_name = "command_answer")]
pub struct Model {
    /// The caller's id of the command.
    #[sea_orm(primary_key, auto_increment = false)]
    pub request_id: Uuid,
    /// The branch it changed.
    pub branch_id: String,
    /// The command, as `forenoon.v1.BranchService/CreateBranch`.
    pub method: String,
    /// Digest of caller, method and request: tells a retry from another command.
    #[serde(with = "crate::value::bytes")]
    pub fingerprint: Vec<u8>,
    /// The encoded answer.
    #[serde(with = "crate::value::bytes")]
    pub answer: Vec<u8>,
    /// When it was accepted.
    pub at: DateTimeUtc,
}

/// None: rows are joined by the queries that need it.
#[derive(Clone, Copy, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
