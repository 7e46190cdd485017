//! Gives a crew's day room for more than one call at the yard.
//!
//! The first stays where it was, so that a server of the version before still reads it.

use sea_orm_migration::prelude::*;
use sea_orm_migration::schema::json_binary;

const TABLE: &str = "plan_crew_day";
const COLUMN: &str = "later_yard_calls";

#[derive(DeriveMigrationName)]
pub(crate) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let later = json_binary(COLUMN).default("[]").take();
        manager
            .alter_table(Table::alter().table(TABLE).add_column(later).take())
            .await
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        manager
            .alter_table(Table::alter().table(TABLE).drop_column(COLUMN).take())
            .await
    }
}
