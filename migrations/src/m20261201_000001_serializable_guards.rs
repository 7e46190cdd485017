//! Has PostgreSQL refuse what its guards could not judge, and both databases a spell that ends before it begins.
//!
//! A guard looks for rows that stand in the way. What another transaction has not committed it does not see, so of two that
//! write at the same time both would be let through: a unit would be tagged and loaded, or with two crews at once. Between
//! serializable transactions PostgreSQL undoes one of the two; so what guards look at is written by serializable
//! transactions only. SQLite has one writer at a time.
//!
//! A branch that is brought in whole is the exception: until that is committed nobody else sees the branch, nor can any row
//! refer to it. It is known by the transaction that made the branch's row, kept in the row: `xmin` would not do, since it
//! tells of whoever changed the row last, and of a savepoint instead of its transaction.
//!
//! Servers of the version before write just so, and are refused nothing.

use sea_orm_migration::prelude::*;
use sea_orm_migration::sea_orm::{ConnectionTrait, DbBackend};

use crate::guard::{Guard, Moment, PREFIX, put_up, take_down};

/// The tables that guards stand before or look at.
const TABLES: [&str; 9] = [
    "plan",
    "plan_crew_day",
    "plan_draft",
    "plan_load_out",
    "plan_stop",
    "plan_stop_unit",
    "plan_unplanned",
    "tag_out",
    "visit",
];

/// Which transaction made the branch; none for branches that were there before. A default that is set later leaves those
/// alone.
const MADE_IN: [&str; 2] = [
    "ALTER TABLE branch ADD COLUMN made_in xid8",
    "ALTER TABLE branch ALTER COLUMN made_in SET DEFAULT pg_current_xact_id()",
];

const FUNCTION: &str = "serializable_guard";
const RULE: &str = "not_serializable";

#[derive(DeriveMigrationName)]
pub(crate) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        put_up(manager, &spell_order()).await?;
        if manager.get_database_backend() == DbBackend::Sqlite {
            return Ok(());
        }
        let connection = manager.get_connection();
        for statement in MADE_IN {
            connection.execute_unprepared(statement).await?;
        }
        connection.execute_unprepared(&function()).await?;
        for table in TABLES {
            // The condition is looked at without a call: a serializable write pays next to nothing.
            connection
                .execute_unprepared(&format!(
                    "CREATE TRIGGER {table}_{FUNCTION} BEFORE INSERT OR UPDATE OR DELETE ON {table} FOR EACH ROW \
                     WHEN (current_setting('transaction_isolation') <> 'serializable') \
                     EXECUTE FUNCTION {FUNCTION}()"
                ))
                .await?;
        }
        Ok(())
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        take_down(manager, &spell_order()).await?;
        if manager.get_database_backend() == DbBackend::Sqlite {
            return Ok(());
        }
        let connection = manager.get_connection();
        for table in TABLES {
            connection
                .execute_unprepared(&format!("DROP TRIGGER {table}_{FUNCTION} ON {table}"))
                .await?;
        }
        for statement in [
            format!("DROP FUNCTION {FUNCTION}()"),
            "ALTER TABLE branch DROP COLUMN made_in".to_owned(),
        ] {
            connection.execute_unprepared(&statement).await?;
        }
        Ok(())
    }
}

/// Refuses a row that comes into a branch, or goes from one, which others may see.
fn function() -> String {
    let is_seen = |row: &str| {
        format!(
            "NOT EXISTS (SELECT 1 FROM branch WHERE id = {row}.branch_id AND made_in = pg_current_xact_id())"
        )
    };
    format!(
        "CREATE FUNCTION {FUNCTION}() RETURNS trigger LANGUAGE plpgsql AS $guard$ BEGIN \
         IF TG_OP <> 'DELETE' AND {} OR TG_OP <> 'INSERT' AND {} THEN RAISE EXCEPTION '{PREFIX}{RULE}' \
         USING ERRCODE = 'integrity_constraint_violation', \
         DETAIL = 'The guards hold between serializable transactions only.', \
         HINT = 'Write to ' || TG_TABLE_NAME || ' after BEGIN ISOLATION LEVEL SERIALIZABLE.'; END IF; \
         IF TG_OP = 'DELETE' THEN RETURN OLD; END IF; RETURN NEW; END $guard$",
        is_seen("NEW"),
        is_seen("OLD"),
    )
}

/// A spell that ends where it begins, or before, would meet no other, whoever had the unit then. As a guard it asks nothing
/// of rows that are there, and SQLite needs no table built anew.
fn spell_order() -> Guard {
    Guard {
        name: "plan_load_out_spell_order_guard",
        table: "plan_load_out",
        moment: Moment::Insert,
        rule: "spell_ends_before_it_begins",
        refuse_when: "NEW.from_time >= NEW.until_time".to_owned(),
    }
}
