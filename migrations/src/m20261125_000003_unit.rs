//! Units: serialised machines and tools.

use sea_orm_migration::prelude::*;
use sea_orm_migration::schema::{
    big_integer_null, boolean, double, double_null, json_binary, text, text_null,
};

use crate::columns::{one_of, owned_by_branch, with_revision};

/// Every kind of unit.
const KINDS: [&str; 8] = [
    "powerhead",
    "attachment",
    "walk_mower",
    "ride_on_mower",
    "blower",
    "hand_tool",
    "trailer",
    "vehicle",
];

#[derive(DeriveMigrationName)]
pub(crate) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let mut table = owned_by_branch("unit")
            .col(text("display_name"))
            .col(text("serial_number"))
            .col(text("model"))
            .col(text("kind"))
            .col(json_binary("capabilities"))
            .col(text_null("coupling"))
            .col(double_null("cutting_width_millimetres"))
            .col(double_null("machine_width_millimetres"))
            .col(double("max_slope_percent"))
            .col(double("load_space_litres"))
            .col(double("carries_litres"))
            .col(double("bag_litres"))
            .col(big_integer_null("purchase_price_minor"))
            .col(double("run_hours"))
            .col(double("service_interval_hours"))
            .col(json_binary("absences"))
            .col(boolean("retired"))
            .check(one_of("kind", &KINDS))
            // A coupling belongs to powerheads and attachments, and to nothing else.
            .check(Expr::cust(
                "(kind IN ('powerhead', 'attachment')) = (coupling IS NOT NULL)",
            ))
            .check(Expr::cust("cutting_width_millimetres > 0"))
            .check(Expr::cust("machine_width_millimetres > 0"))
            .check(Expr::cust("load_space_litres >= 0"))
            .check(Expr::cust("carries_litres >= 0"))
            .check(Expr::cust("bag_litres >= 0"))
            .check(Expr::cust("run_hours >= 0"))
            .take();
        manager
            .create_table(with_revision(&mut table).to_owned())
            .await?;
        manager
            .create_index(
                Index::create()
                    .name("unit_serial_number_key")
                    .table("unit")
                    .col("branch_id")
                    .col("serial_number")
                    .unique()
                    .take(),
            )
            .await
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        manager.drop_table(Table::drop().table("unit").take()).await
    }
}
