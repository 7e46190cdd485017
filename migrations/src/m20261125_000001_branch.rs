//! Branches: a yard with its clock, currency and units. Everything else belongs to one.

use sea_orm_migration::prelude::*;
use sea_orm_migration::schema::{double, json_binary, text};

use crate::columns::{one_of, with_revision};

#[derive(DeriveMigrationName)]
pub(crate) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let mut table = Table::create()
            .table("branch")
            .col(text("id").primary_key())
            .col(text("display_name"))
            .col(text("time_zone"))
            .col(text("currency_code"))
            .col(text("unit_system"))
            .col(double("yard_latitude"))
            .col(double("yard_longitude"))
            .col(json_binary("travel"))
            .col(json_binary("price"))
            .check(Expr::cust("yard_latitude BETWEEN -90 AND 90"))
            .check(Expr::cust("yard_longitude BETWEEN -180 AND 180"))
            .check(one_of("unit_system", &["si", "us_customary"]))
            .take();
        manager
            .create_table(with_revision(&mut table).to_owned())
            .await
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        manager
            .drop_table(Table::drop().table("branch").take())
            .await
    }
}
