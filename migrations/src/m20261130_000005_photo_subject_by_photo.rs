//! Finds what a photograph is of by the photograph, as its foreign key does where the photograph goes, and whoever asks
//! whether anything needs it still. Until now all that the branch ever had photographed was gone through.

use sea_orm_migration::prelude::*;

const TABLE: &str = "photo_subject";
const INDEX: &str = "photo_subject_sha256_idx";

#[derive(DeriveMigrationName)]
pub(crate) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let index = Index::create()
            .name(INDEX)
            .table(TABLE)
            .col("branch_id")
            .col("sha256")
            .take();
        manager.create_index(index).await
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        manager
            .drop_index(Index::drop().name(INDEX).table(TABLE).to_owned())
            .await
    }
}
