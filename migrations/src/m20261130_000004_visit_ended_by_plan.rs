//! Keeps by which plan a visit was ended whose crew did not end it: work that was handed over or left for another day is not
//! given up, and what its crew had finished by then may still be told.
//!
//! None in visits that crews ended themselves, and in those ended before.

use sea_orm_migration::prelude::*;
use sea_orm_migration::schema::text_null;

const TABLE: &str = "visit";
const COLUMN: &str = "ended_by_plan_id";

#[derive(DeriveMigrationName)]
pub(crate) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let mut alter = Table::alter().table(TABLE).take();
        manager
            .alter_table(alter.add_column(text_null(COLUMN)).take())
            .await
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        manager
            .alter_table(Table::alter().table(TABLE).drop_column(COLUMN).take())
            .await
    }
}
