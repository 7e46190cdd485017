//! Says which servers can work with the schema: those that know the named migration.
//!
//! A migration that only adds leaves it as it is, so that servers of the version before go on, and can be started again.
//! One that takes away or changes names itself ([`crate::compatibility::require`]).

use sea_orm_migration::prelude::*;
use sea_orm_migration::schema::{integer, text};

use crate::compatibility::{TABLE, require};

#[derive(DeriveMigrationName)]
pub(crate) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let table = Table::create()
            .table(TABLE)
            // One row.
            .col(integer("id").primary_key())
            .col(text("known_since"))
            .check(Expr::cust("id = 1"))
            .take();
        manager.create_table(table).await?;
        let first = Query::insert()
            .into_table(TABLE)
            .columns(["id", "known_since"])
            .values_panic([1.into(), "".into()])
            .take();
        manager.execute(first).await?;
        require(manager, self.name()).await
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        manager.drop_table(Table::drop().table(TABLE).take()).await
    }
}
