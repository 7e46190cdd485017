//! Keys with which people and programs sign in. What is kept is a digest: nobody can read a key out of the database.

use sea_orm_migration::prelude::*;
use sea_orm_migration::schema::{
    blob, boolean, json_binary, text, text_null, timestamp_with_time_zone,
    timestamp_with_time_zone_null,
};

use crate::columns::within_branch;

const TABLE: &str = "access_key";

#[derive(DeriveMigrationName)]
pub(crate) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let table = Table::create()
            .table(TABLE)
            .col(text("id"))
            // None where it is good for every branch.
            .col(text_null("branch_id"))
            // None where a program holds it, or somebody who is no worker.
            .col(text_null("worker_id"))
            .col(text("holder"))
            .col(json_binary("roles"))
            .col(boolean("everything"))
            .col(blob("digest"))
            .col(timestamp_with_time_zone("issue_time"))
            .col(timestamp_with_time_zone_null("end_time"))
            .primary_key(Index::create().name("access_key_pkey").col("id"))
            .index(
                Index::create()
                    .name("access_key_digest_key")
                    .unique()
                    .col("digest"),
            )
            .foreign_key(
                ForeignKey::create()
                    .name("access_key_branch_fkey")
                    .from(TABLE, "branch_id")
                    .to("branch", "id")
                    .on_delete(ForeignKeyAction::Cascade),
            )
            .foreign_key(
                within_branch(TABLE, "worker_id", "worker").on_delete(ForeignKeyAction::Cascade),
            )
            .check(Expr::cust(
                "worker_id IS NULL OR (branch_id IS NOT NULL AND NOT everything)",
            ))
            .take();
        manager.create_table(table).await?;
        // A worker who goes takes their keys along, which looks for them.
        let of_worker = Index::create()
            .name("access_key_worker_idx")
            .table(TABLE)
            .col("branch_id")
            .col("worker_id")
            .take();
        manager.create_index(of_worker).await
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        manager.drop_table(Table::drop().table(TABLE).take()).await
    }
}
