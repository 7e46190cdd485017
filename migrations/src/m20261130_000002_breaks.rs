//! Keeps when a crew has its breaks: its people want to know, and a plan made later in the day must not give them twice.
//!
//! None in plans made before.

use sea_orm_migration::prelude::*;
use sea_orm_migration::schema::json_binary_null;

const TABLE: &str = "plan_crew_day";
const COLUMN: &str = "breaks";

#[derive(DeriveMigrationName)]
pub(crate) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let mut alter = Table::alter().table(TABLE).take();
        manager
            .alter_table(alter.add_column(json_binary_null(COLUMN)).take())
            .await
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        manager
            .alter_table(Table::alter().table(TABLE).drop_column(COLUMN).take())
            .await
    }
}
