//! Lets the indexes that look at parts of plans from the other side know the plan as well.
//!
//! A database without fresh statistics may choose them for the checks of foreign keys, which know all three columns; it
//! then went through all plans that ever had the crew, for every stop stored.

use sea_orm_migration::prelude::*;

/// Tables, and the column from which they are looked at.
const LOOKED_AT: [(&str, &str); 5] = [
    ("plan_crew_day", "crew_id"),
    ("plan_load_out", "unit_id"),
    ("plan_stop", "job_id"),
    ("plan_stop", "site_id"),
    ("plan_unplanned", "job_id"),
];

#[derive(DeriveMigrationName)]
pub(crate) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        rebuild(manager, &["plan_id"]).await
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        rebuild(manager, &[]).await
    }
}

/// Builds the indexes anew on the branch, the column and further ones.
async fn rebuild(manager: &SchemaManager<'_>, further: &[&'static str]) -> Result<(), DbErr> {
    for (table, column) in LOOKED_AT {
        let name = format!("{table}_{column}_idx");
        manager
            .drop_index(Index::drop().name(&name).table(table).to_owned())
            .await?;
        let mut index = Index::create()
            .name(name)
            .table(table)
            .col("branch_id")
            .col(column)
            .take();
        for more in further {
            index.col(*more);
        }
        manager.create_index(index).await?;
    }
    Ok(())
}
