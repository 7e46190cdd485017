//! Photographs, stored once by what their bytes are, and what they are of.
//!
//! The bytes lie in parts, so that reading one back never holds more than a part in memory.

use sea_orm_migration::prelude::*;
use sea_orm_migration::schema::{binary, integer, text, timestamp_with_time_zone};

use crate::columns::one_of;

#[derive(DeriveMigrationName)]
pub(crate) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let photo = Table::create()
            .table("photo")
            .col(text("branch_id"))
            .col(text("sha256"))
            .col(text("media_type"))
            .col(integer("size_bytes"))
            .col(timestamp_with_time_zone("create_time"))
            .primary_key(
                Index::create()
                    .name("photo_pkey")
                    .col("branch_id")
                    .col("sha256"),
            )
            .foreign_key(
                ForeignKey::create()
                    .name("photo_branch_fkey")
                    .from("photo", "branch_id")
                    .to("branch", "id"),
            )
            .check(one_of("media_type", &["image/jpeg", "image/png"]))
            .check(Expr::cust("length(sha256) = 64"))
            .check(Expr::cust("size_bytes BETWEEN 1 AND 20971520"))
            .take();
        manager.create_table(photo).await?;
        let part = Table::create()
            .table("photo_part")
            .col(text("branch_id"))
            .col(text("sha256"))
            .col(integer("position"))
            .col(binary("bytes"))
            .primary_key(
                Index::create()
                    .name("photo_part_pkey")
                    .col("branch_id")
                    .col("sha256")
                    .col("position"),
            )
            .foreign_key(&mut of_photo("photo_part"))
            .check(Expr::cust("position >= 0"))
            .take();
        manager.create_table(part).await?;
        let subject = Table::create()
            .table("photo_subject")
            .col(text("branch_id"))
            .col(text("sha256"))
            .col(text("subject"))
            .col(timestamp_with_time_zone("create_time"))
            .primary_key(
                Index::create()
                    .name("photo_subject_pkey")
                    .col("branch_id")
                    .col("subject")
                    .col("sha256"),
            )
            .foreign_key(&mut of_photo("photo_subject"))
            .take();
        manager.create_table(subject).await
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        for table in ["photo_subject", "photo_part", "photo"] {
            manager
                .drop_table(Table::drop().table(table).take())
                .await?;
        }
        Ok(())
    }
}

/// Goes with its photograph.
fn of_photo(table: &'static str) -> ForeignKeyCreateStatement {
    ForeignKey::create()
        .name(format!("{table}_photo_fkey"))
        .from(table, ("branch_id", "sha256"))
        .to("photo", ("branch_id", "sha256"))
        .on_delete(ForeignKeyAction::Cascade)
        .take()
}
