//! Finds a day's jobs of any state by their last day: of the jobs of years few are not over.

use sea_orm_migration::prelude::*;

#[derive(DeriveMigrationName)]
pub(crate) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let mut index = Index::create().name(INDEX).table("job").take();
        for column in ["branch_id", "last_day", "first_day"] {
            index.col(column);
        }
        manager.create_index(index).await
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let mut index = Index::drop();
        manager
            .drop_index(index.name(INDEX).table("job").to_owned())
            .await
    }
}

const INDEX: &str = "job_last_day_idx";
