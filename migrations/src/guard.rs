//! Guards: rules which the database itself keeps, whatever code writes to it.
//!
//! A guard is a trigger with one condition, spelled once in SQL that SQLite and PostgreSQL both
//! read, and raised with a message that begins with [`PREFIX`] and ends with the guard's rule. The
//! store recognises the message and turns it into a typed error.

use sea_orm_migration::prelude::*;
use sea_orm_migration::sea_orm::{ConnectionTrait, DbBackend};

/// How the message of every guard begins. The rule follows.
pub const PREFIX: &str = "forenoon guard: ";

/// A moment at which a guard looks.
#[derive(Clone, Copy)]
pub(crate) enum Moment {
    Insert,
    Update,
    Delete,
}

impl Moment {
    fn sql(self) -> &'static str {
        match self {
            Self::Insert => "INSERT",
            Self::Update => "UPDATE",
            Self::Delete => "DELETE",
        }
    }

    /// The row a PostgreSQL trigger hands on.
    fn row(self) -> &'static str {
        match self {
            Self::Insert | Self::Update => "NEW",
            Self::Delete => "OLD",
        }
    }
}

/// One guard.
pub(crate) struct Guard {
    /// Name of the trigger.
    pub name: &'static str,
    /// The table it stands before.
    pub table: &'static str,
    /// When it looks.
    pub moment: Moment,
    /// The rule it keeps, as the store knows it.
    pub rule: &'static str,
    /// The condition, on `NEW` and `OLD`, under which the write is refused.
    pub refuse_when: String,
}

/// Puts a guard up.
pub(crate) async fn put_up(manager: &SchemaManager<'_>, guard: &Guard) -> Result<(), DbErr> {
    let Guard {
        name,
        table,
        moment,
        rule,
        refuse_when,
    } = guard;
    let event = moment.sql();
    let connection = manager.get_connection();
    if manager.get_database_backend() == DbBackend::Sqlite {
        connection
            .execute_unprepared(&format!(
                "CREATE TRIGGER {name} BEFORE {event} ON {table} WHEN {refuse_when} \
                 BEGIN SELECT RAISE(ABORT, '{PREFIX}{rule}'); END"
            ))
            .await?;
        return Ok(());
    }
    let row = moment.row();
    connection
        .execute_unprepared(&format!(
            "CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $guard$ BEGIN \
             IF {refuse_when} THEN RAISE EXCEPTION '{PREFIX}{rule}' \
             USING ERRCODE = 'integrity_constraint_violation'; END IF; \
             RETURN {row}; END $guard$"
        ))
        .await?;
    connection
        .execute_unprepared(&format!(
            "CREATE TRIGGER {name} BEFORE {event} ON {table} \
             FOR EACH ROW EXECUTE FUNCTION {name}()"
        ))
        .await?;
    Ok(())
}

/// Takes a guard down.
pub(crate) async fn take_down(manager: &SchemaManager<'_>, guard: &Guard) -> Result<(), DbErr> {
    let Guard { name, table, .. } = guard;
    let connection = manager.get_connection();
    if manager.get_database_backend() == DbBackend::Sqlite {
        connection
            .execute_unprepared(&format!("DROP TRIGGER {name}"))
            .await?;
        return Ok(());
    }
    connection
        .execute_unprepared(&format!("DROP TRIGGER {name} ON {table}"))
        .await?;
    connection
        .execute_unprepared(&format!("DROP FUNCTION {name}()"))
        .await?;
    Ok(())
}
