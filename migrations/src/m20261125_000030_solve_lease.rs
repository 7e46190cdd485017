//! Leases of searches: who may search for a plan of a day now, among all servers.

use sea_orm_migration::prelude::*;
use sea_orm_migration::schema::{big_integer, text, text_null};

#[derive(DeriveMigrationName)]
pub(crate) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let table = Table::create()
            .table("solve_lease")
            .col(text("branch_id"))
            .col(text("scope"))
            // Grows with every holder and never goes back.
            .col(big_integer("fence"))
            // Grows while the holder lives.
            .col(big_integer("beat"))
            // None where it is free.
            .col(text_null("holder"))
            .primary_key(
                Index::create()
                    .name("solve_lease_pkey")
                    .col("branch_id")
                    .col("scope"),
            )
            .foreign_key(
                ForeignKey::create()
                    .name("solve_lease_branch_fkey")
                    .from("solve_lease", "branch_id")
                    .to("branch", "id")
                    .on_delete(ForeignKeyAction::Cascade),
            )
            .check(Expr::cust("fence >= 1"))
            .check(Expr::cust("beat >= 0"))
            .take();
        manager.create_table(table).await
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        manager
            .drop_table(Table::drop().table("solve_lease").take())
            .await
    }
}
