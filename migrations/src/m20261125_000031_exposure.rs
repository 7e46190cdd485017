//! What people are exposed to: a branch's rule, units' noise and vibration, a crew's day, the weather of a plan.

use sea_orm_migration::prelude::*;
use sea_orm_migration::schema::{double, json_binary, json_binary_null};

#[derive(DeriveMigrationName)]
pub(crate) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        for (table, mut column) in columns() {
            manager
                .alter_table(Table::alter().table(table).add_column(&mut column).take())
                .await?;
        }
        Ok(())
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
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

fn columns() -> [(&'static str, ColumnDef); 5] {
    [
        // Empty: the published values, told and not planned by.
        ("branch", json_binary("exposure").default("{}").take()),
        // 0: not known, so that what is usual for its kind stands in.
        ("unit", double("noise_dba").default(0.0).take()),
        (
            "unit",
            double("vibration_metres_per_second_squared")
                .default(0.0)
                .take(),
        ),
        ("plan_crew_day", json_binary_null("exposure")),
        // The weather that the day was planned for; none where the caller gave none.
        ("plan", json_binary_null("heat")),
    ]
}
