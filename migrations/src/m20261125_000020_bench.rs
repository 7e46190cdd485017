//! What the bench keeps: limits and reopening of tags, services of units; and what a proposal says beside its stops.

use sea_orm_migration::prelude::*;
use sea_orm_migration::schema::{
    double, json_binary, json_binary_null, text, text_null, timestamp_with_time_zone,
};

use crate::columns::{owned_by_branch, within_branch};
use crate::guard::{Guard, Moment, put_up, take_down};

#[derive(DeriveMigrationName)]
pub(crate) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        for (table, column) in columns() {
            let mut column = column;
            manager
                .alter_table(Table::alter().table(table).add_column(&mut column).take())
                .await?;
        }
        // A release is taken back once: the tag that takes it up is open, or was released in its turn.
        manager
            .create_index(
                Index::create()
                    .name("tag_out_reopens_key")
                    .table("tag_out")
                    .col("branch_id")
                    .col("reopens_id")
                    .unique()
                    .take(),
            )
            .await?;
        manager.create_table(unit_service()).await?;
        manager
            .create_index(
                Index::create()
                    .name("unit_service_unit_id_idx")
                    .table("unit_service")
                    .col("branch_id")
                    .col("unit_id")
                    .col("service_time")
                    .take(),
            )
            .await?;
        for guard in guards() {
            put_up(manager, &guard).await?;
        }
        Ok(())
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        for guard in guards() {
            take_down(manager, &guard).await?;
        }
        manager
            .drop_table(Table::drop().table("unit_service").take())
            .await?;
        manager
            .drop_index(
                Index::drop()
                    .name("tag_out_reopens_key")
                    .table("tag_out")
                    .to_owned(),
            )
            .await?;
        for (table, column) in columns() {
            manager
                .alter_table(
                    Table::alter()
                        .table(table)
                        .drop_column(column.get_column_name())
                        .take(),
                )
                .await?;
        }
        Ok(())
    }
}

fn columns() -> [(&'static str, ColumnDef); 4] {
    [
        // What a unit of reduced severity must not do.
        (
            "tag_out",
            json_binary("forbidden_tasks").default("[]").take(),
        ),
        // The released tag that this one takes up.
        ("tag_out", text_null("reopens_id")),
        // What a proposal says beside its stops; none for other plans.
        ("plan", json_binary_null("proposal")),
        // A crew's call at the yard on the way; none where it makes none.
        ("plan_crew_day", json_binary_null("yard_call")),
    ]
}

fn unit_service() -> TableCreateStatement {
    owned_by_branch("unit_service")
        .col(text("unit_id"))
        .col(text("mechanic_id"))
        .col(text("work"))
        .col(double("effective_hours"))
        .col(timestamp_with_time_zone("service_time"))
        .col(timestamp_with_time_zone("create_time"))
        .foreign_key(&mut within_branch("unit_service", "unit_id", "unit"))
        .foreign_key(&mut within_branch("unit_service", "mechanic_id", "worker"))
        .check(Expr::cust("effective_hours >= 0"))
        .take()
}

/// A tag takes up a released one of the same unit, and says so from its beginning.
fn guards() -> Vec<Guard> {
    vec![
        Guard {
            name: "tag_out_reopens_guard",
            table: "tag_out",
            moment: Moment::Insert,
            rule: "tag_out_reopens",
            refuse_when: "NEW.reopens_id IS NOT NULL AND NOT EXISTS (SELECT 1 FROM tag_out t \
                          WHERE t.branch_id = NEW.branch_id AND t.id = NEW.reopens_id \
                          AND t.unit_id = NEW.unit_id AND t.state = 'released')"
                .to_owned(),
        },
        Guard {
            name: "tag_out_reopens_fixed_guard",
            table: "tag_out",
            moment: Moment::Update,
            rule: "tag_out_reopens",
            refuse_when: "NEW.reopens_id IS DISTINCT FROM OLD.reopens_id".to_owned(),
        },
    ]
}
