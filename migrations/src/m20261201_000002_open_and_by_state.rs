//! Finds what is open, and plans in a state, without going through all that the branch ever had.
//!
//! In the order in which lists tell it. Of tag-outs and cases few are open at a time, and of plans few are drafts.

use sea_orm_migration::prelude::*;

#[derive(DeriveMigrationName)]
pub(crate) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        for (name, table, columns) in INDEXES {
            let mut index = Index::create().name(name).table(table).take();
            for column in columns {
                index.col(*column);
            }
            manager.create_index(index).await?;
        }
        let open = Index::create()
            .name(OPEN_TAGS)
            .table("tag_out")
            .col("branch_id")
            .col("number")
            .and_where(Expr::col("state").ne("released"))
            .take();
        manager.create_index(open).await
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let names = INDEXES.iter().map(|(name, table, _)| (*name, *table));
        for (name, table) in names.chain([(OPEN_TAGS, "tag_out")]) {
            manager
                .drop_index(Index::drop().name(name).table(table).to_owned())
                .await?;
        }
        Ok(())
    }
}

const INDEXES: [(&str, &str, &[&str]); 2] = [
    (
        "plan_state_day_idx",
        "plan",
        &["branch_id", "state", "day", "day_revision"],
    ),
    (
        "site_case_closed_number_idx",
        "site_case",
        &["branch_id", "closed", "number"],
    ),
];

/// Partial, since a state that is not one is no place in an index.
const OPEN_TAGS: &str = "tag_out_open_number_idx";
