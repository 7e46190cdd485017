//! Visits: what crews report from the sites.

use sea_orm_migration::prelude::*;
use sea_orm_migration::schema::{
    integer, json_binary, text, timestamp_with_time_zone, timestamp_with_time_zone_null,
};

use crate::columns::within_branch;

#[derive(DeriveMigrationName)]
pub(crate) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        // The key is the job: work is begun once, whatever revision of the plan it was begun by.
        let table = Table::create()
            .table("visit")
            .col(text("branch_id"))
            .col(text("job_id"))
            .col(text("plan_id"))
            .col(text("crew_id"))
            .col(timestamp_with_time_zone("start_time"))
            .col(timestamp_with_time_zone_null("finish_time"))
            .col(json_binary("task_actuals"))
            .col(integer("bags"))
            .col(text("note"))
            .primary_key(
                Index::create()
                    .name("visit_pkey")
                    .col("branch_id")
                    .col("job_id"),
            )
            .foreign_key(&mut within_branch("visit", "job_id", "job"))
            .foreign_key(&mut within_branch("visit", "plan_id", "plan"))
            .foreign_key(&mut within_branch("visit", "crew_id", "crew"))
            .check(Expr::cust("bags >= 0"))
            .check(Expr::cust("start_time <= finish_time"))
            .take();
        manager.create_table(table).await?;
        for column in ["plan_id", "crew_id"] {
            manager
                .create_index(
                    Index::create()
                        .name(format!("visit_{column}_idx"))
                        .table("visit")
                        .col("branch_id")
                        .col(column)
                        .take(),
                )
                .await?;
        }
        Ok(())
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        manager
            .drop_table(Table::drop().table("visit").take())
            .await
    }
}
