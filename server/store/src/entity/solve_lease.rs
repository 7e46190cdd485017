//! Leases of searches.

use sea_orm::entity::prelude::*;

/// One row of `solve_lease`.
#[derive(Clone, Debug, PartialEq, Eq, DeriveEntityModel)]
#[sea_orm(table_name = "solve_lease")]
pub struct Model {
    /// The branch.
    #[sea_orm(primary_key, auto_increment = false)]
    pub branch_id: String,
    /// What is searched for, as `plan/2027-04-20`.
    #[sea_orm(primary_key, auto_increment = false)]
    pub scope: String,
    /// Grows with every holder and never goes back.
    pub fence: i64,
    /// Grows while the holder lives.
    pub beat: i64,
    /// Who holds it; none where it is free.
    pub holder: Option<String>,
}

/// None: rows are joined by the queries that need it.
#[derive(Clone, Copy, Debug, EnumIter, DeriveRelation)]
pub enum Relation {}

impl ActiveModelBehavior for ActiveModel {}
