//! Lets two crews of a plan have a unit one after the other, and never at once.
//!
//! A row is a spell: from when until when a crew has the unit. Rows without times are all day's, as a server of the version
//! before writes them; its rows are of spell 0, so that for them the key is what it was.

use sea_orm_migration::prelude::*;
use sea_orm_migration::schema::{integer, text, timestamp_with_time_zone_null};
use sea_orm_migration::sea_orm::DbBackend;

use crate::columns::within_branch;
use crate::guard::{Guard, Moment, put_up, take_down};
use crate::rebuild::rebuild;

const TABLE: &str = "plan_load_out";
const SPELL: &str = "spell";
const TIMES: [&str; 2] = ["from_time", "until_time"];
/// Columns that were there before.
const BEFORE: &str = "branch_id, plan_id, unit_id, crew_id";

#[derive(DeriveMigrationName)]
pub(crate) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        if manager.get_database_backend() == DbBackend::Sqlite {
            rebuild(manager, TABLE, definition(true), BEFORE, "1 = 1").await?;
        } else {
            let mut alter = Table::alter().table(TABLE).take();
            alter.add_column(integer(SPELL).default(0));
            for time in TIMES {
                alter.add_column(timestamp_with_time_zone_null(time));
            }
            manager.alter_table(alter).await?;
            set_key(manager, "branch_id, plan_id, unit_id, spell").await?;
        }
        put_up(manager, &one_crew_at_a_time()).await
    }

    /// What a second crew has later is not on record before: the first has it all day.
    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        take_down(manager, &one_crew_at_a_time()).await?;
        if manager.get_database_backend() == DbBackend::Sqlite {
            return rebuild(manager, TABLE, definition(false), BEFORE, "spell = 0").await;
        }
        let connection = manager.get_connection();
        for statement in [
            "ALTER TABLE plan_load_out DISABLE TRIGGER USER",
            "DELETE FROM plan_load_out WHERE spell > 0",
            "ALTER TABLE plan_load_out ENABLE TRIGGER USER",
        ] {
            connection.execute_unprepared(statement).await?;
        }
        set_key(manager, "branch_id, plan_id, unit_id").await?;
        let mut alter = Table::alter().table(TABLE).take();
        for column in [SPELL].into_iter().chain(TIMES) {
            alter.drop_column(column);
        }
        manager.alter_table(alter).await
    }
}

/// The table, with spells or without.
fn definition(with_spells: bool) -> TableCreateStatement {
    let mut key = Index::create().name("plan_load_out_pkey").take();
    for column in ["branch_id", "plan_id", "unit_id"] {
        key.col(column);
    }
    let mut table = Table::create().table(TABLE).take();
    for column in BEFORE.split(", ") {
        table.col(text(column.to_owned()));
    }
    if with_spells {
        key.col(SPELL);
        table.col(integer(SPELL).default(0));
        for time in TIMES {
            table.col(timestamp_with_time_zone_null(time));
        }
    }
    table
        .primary_key(&mut key)
        .foreign_key(within_branch(TABLE, "plan_id", "plan").on_delete(ForeignKeyAction::Cascade))
        .foreign_key(&mut within_branch(TABLE, "unit_id", "unit"))
        .foreign_key(
            ForeignKey::create()
                .name("plan_load_out_crew_day_fkey")
                .from(TABLE, ("branch_id", "plan_id", "crew_id"))
                .to("plan_crew_day", ("branch_id", "plan_id", "crew_id"))
                .on_delete(ForeignKeyAction::Cascade),
        )
        .take()
}

async fn set_key(manager: &SchemaManager<'_>, columns: &str) -> Result<(), DbErr> {
    manager
        .get_connection()
        .execute_unprepared(&format!(
            "ALTER TABLE {TABLE} DROP CONSTRAINT plan_load_out_pkey, \
             ADD CONSTRAINT plan_load_out_pkey PRIMARY KEY ({columns})"
        ))
        .await?;
    Ok(())
}

/// Spells of one unit in one plan do not meet. One without a time has no end on that side.
fn one_crew_at_a_time() -> Guard {
    let begins_before = |one: &str, other: &str| {
        format!(
            "({one}.from_time IS NULL OR {other}.until_time IS NULL OR {one}.from_time < {other}.until_time)"
        )
    };
    Guard {
        name: "plan_load_out_spell_guard",
        table: TABLE,
        moment: Moment::Insert,
        rule: "unit_with_another_crew",
        refuse_when: format!(
            "EXISTS (SELECT 1 FROM {TABLE} other WHERE other.branch_id = NEW.branch_id \
             AND other.plan_id = NEW.plan_id AND other.unit_id = NEW.unit_id AND {} AND {})",
            begins_before("NEW", "other"),
            begins_before("other", "NEW")
        ),
    }
}
