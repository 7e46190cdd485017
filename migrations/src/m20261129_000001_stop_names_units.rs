//! Guards stops by the units their tasks name, not by a row for each of them beside.
//!
//! A day of a hundred stops has some four hundred such rows, in every proposal of a re-plan: the better part of what a
//! re-plan wrote. The tasks of a stop name its units anyhow, so the guards read them there, where a stop that names a
//! tagged unit cannot slip past by a row left out. `plan_stop_unit` stays for servers of the version before, which
//! write it still and whose rows its own guard still tests; what this version writes leaves it empty.

use sea_orm_migration::prelude::*;
use sea_orm_migration::sea_orm::DbBackend;

use crate::guard::{Guard, Moment, put_up, take_down};

const RULE: &str = "unit_tagged_out";

/// An open tag that keeps its unit from going out. The table is `t`.
const OUT: &str = "t.severity = 'unsafe' AND t.state <> 'released'";

#[derive(DeriveMigrationName)]
pub(crate) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let backend = manager.get_database_backend();
        for guard in of_units(IN_ROWS) {
            take_down(manager, &guard).await?;
        }
        put_up(manager, &stop(backend)).await?;
        for guard in of_units(&in_tasks(backend, "s")) {
            put_up(manager, &guard).await?;
        }
        Ok(())
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let backend = manager.get_database_backend();
        take_down(manager, &stop(backend)).await?;
        for guard in of_units(&in_tasks(backend, "s")) {
            take_down(manager, &guard).await?;
        }
        for guard in of_rows() {
            take_down(manager, &guard).await?;
        }
        manager
            .get_connection()
            .execute_unprepared(&rows_of_stops(backend))
            .await?;
        for guard in of_rows() {
            put_up(manager, &guard).await?;
        }
        for guard in of_units(IN_ROWS) {
            put_up(manager, &guard).await?;
        }
        Ok(())
    }
}

/// SQL that holds where `plan_stop_unit` has the unit of the tag `t` at the stop `s`.
const IN_ROWS: &str = "EXISTS (SELECT 1 FROM plan_stop_unit u WHERE u.branch_id = s.branch_id \
                       AND u.plan_id = s.plan_id AND u.job_id = s.job_id AND u.unit_id = t.unit_id)";

/// SQL that holds where a task of the stop names the unit of the tag `t`.
fn in_tasks(backend: DbBackend, stop: &str) -> String {
    match backend {
        // The text is looked through first: most stops do not have the unit, and to parse is dear.
        DbBackend::Sqlite => format!(
            "instr({stop}.tasks, json_quote(t.unit_id)) > 0 AND EXISTS (\
             SELECT 1 FROM json_each({stop}.tasks) task, json_each(task.value, '$.unit_ids') unit \
             WHERE unit.value = t.unit_id)"
        ),
        _ => format!(
            "{stop}.tasks @> jsonb_build_array(jsonb_build_object('unit_ids', jsonb_build_array(t.unit_id)))"
        ),
    }
}

/// No stop comes into a plan that ends after its unit was tagged.
fn stop(backend: DbBackend) -> Guard {
    Guard {
        name: "plan_stop_tagged_guard",
        table: "plan_stop",
        moment: Moment::Insert,
        rule: RULE,
        refuse_when: format!(
            "EXISTS (SELECT 1 FROM tag_out t WHERE t.branch_id = NEW.branch_id AND {OUT} \
             AND NEW.finish_time > t.create_time AND {})",
            in_tasks(backend, "NEW")
        ),
    }
}

/// The guards of publication and of the start of work. `has_unit` is SQL that holds where the stop `s` works with the unit
/// of the tag `t`.
fn of_units(has_unit: &str) -> [Guard; 3] {
    let begins = format!(
        "EXISTS (SELECT 1 FROM plan_stop s JOIN tag_out t ON t.branch_id = s.branch_id \
         WHERE s.branch_id = NEW.branch_id AND s.plan_id = NEW.plan_id AND s.job_id = NEW.job_id \
         AND {OUT} AND t.create_time <= NEW.start_time AND {has_unit})"
    );
    [
        Guard {
            name: "plan_publish_tagged_guard",
            table: "plan",
            moment: Moment::Update,
            rule: RULE,
            refuse_when: format!(
                "NEW.state = 'published' AND OLD.state <> 'published' AND (\
                 EXISTS (SELECT 1 FROM plan_load_out l JOIN tag_out t \
                 ON t.branch_id = l.branch_id AND t.unit_id = l.unit_id \
                 WHERE l.branch_id = NEW.branch_id AND l.plan_id = NEW.id AND {OUT}) \
                 OR EXISTS (SELECT 1 FROM tag_out t JOIN plan_stop s ON s.branch_id = t.branch_id \
                 WHERE t.branch_id = NEW.branch_id AND s.plan_id = NEW.id AND {OUT} \
                 AND s.finish_time > t.create_time AND {has_unit}))"
            ),
        },
        Guard {
            name: "visit_tagged_guard",
            table: "visit",
            moment: Moment::Insert,
            rule: RULE,
            refuse_when: begins.clone(),
        },
        Guard {
            name: "visit_start_tagged_guard",
            table: "visit",
            moment: Moment::Update,
            rule: RULE,
            refuse_when: format!(
                "OLD.start_time IS NULL AND NEW.start_time IS NOT NULL AND {begins}"
            ),
        },
    ]
}

/// The guards on rows that come into `plan_stop_unit`: they do not let those of plans published in.
fn of_rows() -> [Guard; 2] {
    [
        Guard {
            name: "plan_stop_unit_tagged_guard",
            table: "plan_stop_unit",
            moment: Moment::Insert,
            rule: RULE,
            refuse_when: format!(
                "EXISTS (SELECT 1 FROM tag_out t JOIN plan_stop s \
                 ON s.branch_id = t.branch_id AND s.plan_id = NEW.plan_id \
                 AND s.job_id = NEW.job_id WHERE t.branch_id = NEW.branch_id \
                 AND t.unit_id = NEW.unit_id AND {OUT} AND s.finish_time > t.create_time)"
            ),
        },
        Guard {
            name: "plan_stop_unit_insert_guard",
            table: "plan_stop_unit",
            moment: Moment::Insert,
            rule: "plan_fixed",
            refuse_when: "EXISTS (SELECT 1 FROM plan p WHERE p.branch_id = NEW.branch_id \
                          AND p.id = NEW.plan_id AND p.state <> 'draft')"
                .to_owned(),
        },
    ]
}

/// Gives the stops of this version the rows that the version before looks for.
fn rows_of_stops(backend: DbBackend) -> String {
    let (tasks, units) = match backend {
        DbBackend::Sqlite => (
            "json_each(s.tasks) task",
            "json_each(task.value, '$.unit_ids') unit",
        ),
        _ => (
            "jsonb_array_elements(s.tasks) task(value)",
            "jsonb_array_elements_text(task.value -> 'unit_ids') unit(value)",
        ),
    };
    format!(
        "INSERT INTO plan_stop_unit (branch_id, plan_id, job_id, unit_id) \
         SELECT DISTINCT s.branch_id, s.plan_id, s.job_id, unit.value FROM plan_stop s, {tasks}, {units} \
         WHERE EXISTS (SELECT 1 FROM unit known WHERE known.branch_id = s.branch_id AND known.id = unit.value) \
         AND NOT EXISTS (SELECT 1 FROM plan_stop_unit u WHERE u.branch_id = s.branch_id \
         AND u.plan_id = s.plan_id AND u.job_id = s.job_id AND u.unit_id = unit.value)"
    )
}
