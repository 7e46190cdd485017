//! Which servers can work with a schema that is newer than they are.

use sea_orm_migration::prelude::*;
use sea_orm_migration::sea_orm::{ConnectionTrait, DatabaseTransaction};

/// The table that says so, in one row.
pub(crate) const TABLE: &str = "schema_compatibility";

/// Excludes servers that do not know a migration: called by migrations that take away or change what earlier servers use.
pub(crate) async fn require(manager: &SchemaManager<'_>, migration: &str) -> Result<(), DbErr> {
    let statement = Query::update()
        .table(TABLE)
        .value("known_since", migration)
        .take();
    manager.execute(statement).await
}

/// The migration that a server must know to work with the schema; none where the schema is of a time before that was said.
///
/// # Errors
/// Those of the database.
pub async fn required(transaction: &DatabaseTransaction) -> Result<Option<String>, DbErr> {
    if !SchemaManager::new(transaction).has_table(TABLE).await? {
        return Ok(None);
    }
    let statement = Query::select().column("known_since").from(TABLE).take();
    let row = transaction.query_one(&statement).await?;
    row.map(|row| row.try_get("", "known_since")).transpose()
}
