//! What lets old days go: hours of units summed up to a moment, and indexes by which visits are found by time.

use sea_orm_migration::prelude::*;
use sea_orm_migration::schema::{
    double, text, timestamp_with_time_zone, timestamp_with_time_zone_null,
};

#[derive(DeriveMigrationName)]
pub(crate) struct Migration;

/// Visits by when they began and ended: what estimates learn from, and what units ran.
const INDEXES: [(&str, &str); 2] = [
    ("visit_start_time_idx", "start_time"),
    ("visit_finish_time_idx", "finish_time"),
];

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        for (name, column) in INDEXES {
            manager
                .create_index(
                    Index::create()
                        .name(name)
                        .table("visit")
                        .col("branch_id")
                        .col(column)
                        .take(),
                )
                .await?;
        }
        let settled = Table::create()
            .table("hours_settled")
            .col(text("branch_id").primary_key())
            // Visits finished by then are in unit_hours.
            .col(timestamp_with_time_zone("until_time"))
            .foreign_key(
                ForeignKey::create()
                    .name("hours_settled_branch_fkey")
                    .from("hours_settled", "branch_id")
                    .to("branch", "id")
                    .on_delete(ForeignKeyAction::Cascade),
            )
            .take();
        manager.create_table(settled).await?;
        let hours = Table::create()
            .table("unit_hours")
            .col(text("branch_id"))
            .col(text("unit_id"))
            .col(double("life_hours"))
            .col(double("since_hours"))
            // The service after which since_hours count; none where there was none.
            .col(timestamp_with_time_zone_null("serviced_time"))
            .primary_key(
                Index::create()
                    .name("unit_hours_pkey")
                    .col("branch_id")
                    .col("unit_id"),
            )
            .foreign_key(
                ForeignKey::create()
                    .name("unit_hours_unit_id_fkey")
                    .from("unit_hours", ("branch_id", "unit_id"))
                    .to("unit", ("branch_id", "id"))
                    .on_delete(ForeignKeyAction::Cascade),
            )
            .check(Expr::cust("life_hours >= 0"))
            .check(Expr::cust("since_hours >= 0"))
            .take();
        manager.create_table(hours).await
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        for table in ["unit_hours", "hours_settled"] {
            manager
                .drop_table(Table::drop().table(table).take())
                .await?;
        }
        for (name, _) in INDEXES {
            manager
                .drop_index(Index::drop().name(name).table("visit").to_owned())
                .await?;
        }
        Ok(())
    }
}
