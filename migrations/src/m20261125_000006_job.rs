//! Jobs: work wanted at a site.

use sea_orm_migration::prelude::*;
use sea_orm_migration::schema::{
    big_integer_null, date, integer, json_binary, json_binary_null, text,
    timestamp_with_time_zone_null,
};

use crate::columns::{one_of, owned_by_branch, with_revision, within_branch};

#[derive(DeriveMigrationName)]
pub(crate) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let mut table = owned_by_branch("job")
            .col(text("display_name"))
            .col(text("site_id"))
            .col(json_binary("tasks"))
            .col(json_binary("area_ids"))
            .col(json_binary("condition"))
            .col(json_binary("windows"))
            // The first and last day of any window, for the list of a day's jobs.
            .col(date("first_day"))
            .col(date("last_day"))
            .col(integer("priority"))
            .col(timestamp_with_time_zone_null("deadline"))
            .col(text("deadline_source"))
            .col(json_binary_null("promise"))
            .col(json_binary("skills"))
            .col(big_integer_null("price_minor"))
            .col(text("note"))
            .col(text("state"))
            .col(text("cancel_reason"))
            .foreign_key(&mut within_branch("job", "site_id", "site"))
            .check(one_of("state", &["open", "running", "done", "cancelled"]))
            .check(Expr::cust("priority BETWEEN 1 AND 5"))
            .check(Expr::cust("first_day <= last_day"))
            .take();
        manager
            .create_table(with_revision(&mut table).to_owned())
            .await?;
        for (name, columns) in [
            ("job_site_id_idx", ["branch_id", "site_id", "id"]),
            ("job_state_idx", ["branch_id", "state", "id"]),
            ("job_state_last_day_idx", ["branch_id", "state", "last_day"]),
        ] {
            let mut index = Index::create().name(name).table("job").take();
            for column in columns {
                index.col(column);
            }
            manager.create_index(index).await?;
        }
        Ok(())
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        manager.drop_table(Table::drop().table("job").take()).await
    }
}
