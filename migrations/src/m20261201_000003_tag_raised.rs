//! Keeps since when a tag is as bad as it is: a unit that was reduced at eight and is unsafe since ten did true work between.
//!
//! None for a tag that is as bad as it was when it came, and for all of before. The guards that ask whether something ended or
//! began before the tag ask from that time on.

use sea_orm_migration::prelude::*;
use sea_orm_migration::schema::timestamp_with_time_zone_null;
use sea_orm_migration::sea_orm::{ConnectionTrait, DbBackend, Statement};

const TABLE: &str = "tag_out";
const COLUMN: &str = "severity_time";

/// The guards that look at the time of the tag `t`.
const GUARDS: [&str; 6] = [
    "plan_draft_tagged_guard",
    "plan_publish_tagged_guard",
    "plan_stop_tagged_guard",
    "plan_stop_unit_tagged_guard",
    "visit_start_tagged_guard",
    "visit_tagged_guard",
];
const CAME: &str = "t.create_time";
const IS_SO_SINCE: &str = "COALESCE(t.severity_time, t.create_time)";

#[derive(DeriveMigrationName)]
pub(crate) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let mut alter = Table::alter().table(TABLE).take();
        manager
            .alter_table(
                alter
                    .add_column(timestamp_with_time_zone_null(COLUMN))
                    .take(),
            )
            .await?;
        ask(manager, CAME, IS_SO_SINCE).await
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        ask(manager, IS_SO_SINCE, CAME).await?;
        manager
            .alter_table(Table::alter().table(TABLE).drop_column(COLUMN).take())
            .await
    }
}

/// Has the guards ask for another time than before; what else they say stays.
async fn ask(manager: &SchemaManager<'_>, before: &str, after: &str) -> Result<(), DbErr> {
    let backend = manager.get_database_backend();
    let connection = manager.get_connection();
    for guard in GUARDS {
        let is_sqlite = backend == DbBackend::Sqlite;
        let query = if is_sqlite {
            format!("SELECT sql FROM sqlite_master WHERE type = 'trigger' AND name = '{guard}'")
        } else {
            // By its name each time: a statement kept prepared would go on asking for a function that was made anew since.
            format!(
                "SELECT pg_get_functiondef(oid) AS sql FROM pg_proc \
                 WHERE proname = '{guard}' AND pg_function_is_visible(oid)"
            )
        };
        let row = connection
            .query_one_raw(Statement::from_string(backend, query))
            .await?
            .ok_or_else(|| DbErr::Custom(format!("the guard {guard} is gone")))?;
        let known: String = row.try_get("", "sql")?;
        if !known.contains(before) {
            return Err(DbErr::Custom(format!(
                "the guard {guard} asks for no {before}"
            )));
        }
        if is_sqlite {
            connection
                .execute_unprepared(&format!("DROP TRIGGER {guard}"))
                .await?;
        }
        connection
            .execute_unprepared(&known.replace(before, after))
            .await?;
    }
    Ok(())
}
