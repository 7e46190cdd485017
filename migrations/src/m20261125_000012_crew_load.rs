//! What crews have loaded, as they confirm it.

use sea_orm_migration::prelude::*;
use sea_orm_migration::schema::{json_binary, text, timestamp_with_time_zone};

use crate::columns::within_branch;

#[derive(DeriveMigrationName)]
pub(crate) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let table = Table::create()
            .table("crew_load")
            .col(text("branch_id"))
            .col(text("plan_id"))
            .col(text("crew_id"))
            .col(timestamp_with_time_zone("load_time"))
            .col(json_binary("missing_unit_ids"))
            .primary_key(
                Index::create()
                    .name("crew_load_pkey")
                    .col("branch_id")
                    .col("plan_id")
                    .col("crew_id"),
            )
            .foreign_key(&mut within_branch("crew_load", "plan_id", "plan"))
            .foreign_key(&mut within_branch("crew_load", "crew_id", "crew"))
            .take();
        manager.create_table(table).await
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        manager
            .drop_table(Table::drop().table("crew_load").take())
            .await
    }
}
