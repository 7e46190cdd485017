//! Crews and the workers in them.

use sea_orm_migration::prelude::*;
use sea_orm_migration::schema::{
    big_integer_null, double_null, integer, json_binary, text, text_null,
};

use crate::columns::{owned_by_branch, with_revision, within_branch};

#[derive(DeriveMigrationName)]
pub(crate) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let mut crew = owned_by_branch("crew")
            .col(text("display_name"))
            .col(json_binary("shifts"))
            .col(text_null("vehicle_id"))
            .col(text_null("trailer_id"))
            .col(integer("overtime_allowed_seconds"))
            .col(double_null("base_latitude"))
            .col(double_null("base_longitude"))
            .col(integer("break_seconds"))
            .foreign_key(&mut within_branch("crew", "vehicle_id", "unit"))
            .foreign_key(&mut within_branch("crew", "trailer_id", "unit"))
            .check(Expr::cust("overtime_allowed_seconds >= 0"))
            .check(Expr::cust("break_seconds >= 0"))
            .check(Expr::cust(
                "(base_latitude IS NULL) = (base_longitude IS NULL)",
            ))
            .take();
        manager
            .create_table(with_revision(&mut crew).to_owned())
            .await?;
        // The foreign keys are looked up from the unit's side when a unit is deleted.
        for column in ["vehicle_id", "trailer_id"] {
            manager
                .create_index(
                    Index::create()
                        .name(format!("crew_{column}_idx"))
                        .table("crew")
                        .col("branch_id")
                        .col(column)
                        .take(),
                )
                .await?;
        }

        let mut worker = owned_by_branch("worker")
            .col(text("display_name"))
            .col(text_null("crew_id"))
            .col(json_binary("roles"))
            .col(json_binary("skills"))
            .col(text("phone"))
            .col(big_integer_null("cost_per_hour_minor"))
            .foreign_key(&mut within_branch("worker", "crew_id", "crew"))
            .take();
        manager
            .create_table(with_revision(&mut worker).to_owned())
            .await?;
        manager
            .create_index(
                Index::create()
                    .name("worker_crew_id_idx")
                    .table("worker")
                    .col("branch_id")
                    .col("crew_id")
                    .take(),
            )
            .await
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        manager
            .drop_table(Table::drop().table("worker").take())
            .await?;
        manager.drop_table(Table::drop().table("crew").take()).await
    }
}
