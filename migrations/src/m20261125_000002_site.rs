//! Sites: customers' places with their areas and hazards.

use sea_orm_migration::prelude::*;
use sea_orm_migration::schema::{
    boolean, double, integer_null, json_binary, json_binary_null, text,
};

use crate::columns::{one_of, owned_by_branch, with_revision};

#[derive(DeriveMigrationName)]
pub(crate) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let mut table = owned_by_branch("site")
            .col(text("display_name"))
            .col(text("customer"))
            .col(json_binary_null("contact"))
            .col(text("address"))
            .col(double("latitude"))
            .col(double("longitude"))
            .col(json_binary("areas"))
            .col(json_binary("hazards"))
            .col(text("clippings"))
            .col(text("clippings_note"))
            .col(integer_null("quiet_until_second_of_day"))
            .col(boolean("sensitive"))
            .col(text("access_note"))
            .check(Expr::cust("latitude BETWEEN -90 AND 90"))
            .check(Expr::cust("longitude BETWEEN -180 AND 180"))
            .check(Expr::cust("quiet_until_second_of_day BETWEEN 0 AND 86400"))
            .check(one_of(
                "clippings",
                &["may_lie", "customer_heap", "take_away"],
            ))
            .take();
        manager
            .create_table(with_revision(&mut table).to_owned())
            .await
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        manager.drop_table(Table::drop().table("site").take()).await
    }
}
