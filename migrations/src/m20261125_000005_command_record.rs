//! What is written with every accepted command: the answer kept for a retry, who changed what, and
//! the event that tells others.
//!
//! None of these refers to the branch by a foreign key: the record of a branch outlives the branch.

use sea_orm_migration::prelude::*;
use sea_orm_migration::schema::{
    big_integer, binary, json_binary, json_binary_null, pk_uuid, text, timestamp_with_time_zone,
    uuid_null,
};

#[derive(DeriveMigrationName)]
pub(crate) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        manager.create_table(command_answer()).await?;
        manager
            .create_index(
                Index::create()
                    .name("command_answer_at_idx")
                    .table("command_answer")
                    .col("at")
                    .take(),
            )
            .await?;

        manager.create_table(branch_sequence()).await?;

        manager.create_table(audit_entry()).await?;
        manager
            .create_index(
                Index::create()
                    .name("audit_entry_subject_idx")
                    .table("audit_entry")
                    .col("branch_id")
                    .col("subject")
                    .col("seq")
                    .take(),
            )
            .await?;

        manager.create_table(outbox_event()).await
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        for table in [
            "outbox_event",
            "audit_entry",
            "branch_sequence",
            "command_answer",
        ] {
            manager
                .drop_table(Table::drop().table(table).take())
                .await?;
        }
        Ok(())
    }
}

/// The answer to a command that carried a request id.
fn command_answer() -> TableCreateStatement {
    Table::create()
        .table("command_answer")
        .col(pk_uuid("request_id"))
        .col(text("branch_id"))
        .col(text("method"))
        .col(binary("fingerprint"))
        .col(binary("answer"))
        .col(timestamp_with_time_zone("at"))
        .take()
}

/// The last number given to a change of the branch. It goes on where a branch is created anew.
fn branch_sequence() -> TableCreateStatement {
    Table::create()
        .table("branch_sequence")
        .col(text("branch_id").primary_key())
        .col(big_integer("last_seq"))
        .take()
}

/// Who changed what, when, from what to what.
fn audit_entry() -> TableCreateStatement {
    Table::create()
        .table("audit_entry")
        .col(text("branch_id"))
        .col(big_integer("seq"))
        .col(timestamp_with_time_zone("at"))
        .col(text("actor"))
        .col(text("method"))
        .col(uuid_null("request_id"))
        .col(text("subject"))
        .col(text("kind"))
        .col(json_binary_null("before"))
        .col(json_binary_null("after"))
        .primary_key(
            Index::create()
                .name("audit_entry_pkey")
                .col("branch_id")
                .col("seq"),
        )
        .take()
}

/// What watchers and other systems are told, in the order of the branch's sequence.
fn outbox_event() -> TableCreateStatement {
    Table::create()
        .table("outbox_event")
        .col(text("branch_id"))
        .col(big_integer("seq"))
        .col(text("kind"))
        .col(text("subject"))
        .col(json_binary("body"))
        .col(timestamp_with_time_zone("at"))
        .primary_key(
            Index::create()
                .name("outbox_event_pkey")
                .col("branch_id")
                .col("seq"),
        )
        .take()
}
