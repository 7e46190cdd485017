//! Gives a table of SQLite another definition, which `ALTER TABLE` cannot do for keys.

use sea_orm_migration::prelude::*;
use sea_orm_migration::sea_orm::{ConnectionTrait, DbBackend, Statement};

/// Builds the table anew as `definition` says, with the `columns` of its rows that are `kept`. Its indexes, its guards, and
/// the guards of other tables that look at it are put back as they were.
///
/// Nothing may refer to the table by a foreign key: dropping it would let those rows go too.
pub(crate) async fn rebuild(
    manager: &SchemaManager<'_>,
    table: &'static str,
    definition: TableCreateStatement,
    columns: &str,
    kept: &str,
) -> Result<(), DbErr> {
    let connection = manager.get_connection();
    let triggers = made_by(
        manager,
        &format!("type = 'trigger' AND (tbl_name = '{table}' OR instr(sql, '{table} ') > 0)"),
    )
    .await?;
    let indexes = made_by(
        manager,
        &format!("type = 'index' AND tbl_name = '{table}' AND sql IS NOT NULL"),
    )
    .await?;
    // No guard may look at a table that is not there for a moment.
    for (name, _) in &triggers {
        let drop = format!("DROP TRIGGER {name}");
        connection.execute_unprepared(&drop).await?;
    }
    let rows =
        format!("CREATE TEMPORARY TABLE rebuilt AS SELECT {columns} FROM {table} WHERE {kept}");
    connection.execute_unprepared(&rows).await?;
    manager
        .drop_table(Table::drop().table(table).take())
        .await?;
    manager.create_table(definition).await?;
    let back = format!("INSERT INTO {table} ({columns}) SELECT * FROM rebuilt");
    connection.execute_unprepared(&back).await?;
    connection.execute_unprepared("DROP TABLE rebuilt").await?;
    for (_, sql) in indexes.iter().chain(&triggers) {
        connection.execute_unprepared(sql).await?;
    }
    Ok(())
}

/// Names and statements of what the schema holds that meets a condition.
async fn made_by(
    manager: &SchemaManager<'_>,
    condition: &str,
) -> Result<Vec<(String, String)>, DbErr> {
    let statement = Statement::from_string(
        DbBackend::Sqlite,
        format!("SELECT name, sql FROM sqlite_master WHERE {condition} ORDER BY name"),
    );
    let rows = manager.get_connection().query_all_raw(statement).await?;
    rows.iter()
        .map(|row| Ok((row.try_get("", "name")?, row.try_get("", "sql")?)))
        .collect()
}
