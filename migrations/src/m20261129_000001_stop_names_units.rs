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
        let by_tasks = Units::of_tasks(manager.get_database_backend());
        for guard in both(&Units::of_rows()) {
            take_down(manager, &guard).await?;
        }
        put_up(manager, &stop(&by_tasks)).await?;
        for guard in both(&by_tasks) {
            put_up(manager, &guard).await?;
        }
        Ok(())
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let by_tasks = Units::of_tasks(manager.get_database_backend());
        take_down(manager, &stop(&by_tasks)).await?;
        for guard in both(&by_tasks) {
            take_down(manager, &guard).await?;
        }
        for guard in of_rows() {
            take_down(manager, &guard).await?;
        }
        manager
            .get_connection()
            .execute_unprepared(&rows_of_stops(manager.get_database_backend()))
            .await?;
        for guard in of_rows() {
            put_up(manager, &guard).await?;
        }
        for guard in both(&Units::of_rows()) {
            put_up(manager, &guard).await?;
        }
        Ok(())
    }
}

/// How the units of a stop are found: SQL that holds where the stop `s` works with the unit of the tag `t`.
struct Units {
    stop: String,
    new: String,
}

impl Units {
    /// In `plan_stop_unit`.
    fn of_rows() -> Self {
        let row_of = |stop: &str| {
            format!(
                "EXISTS (SELECT 1 FROM plan_stop_unit u WHERE u.branch_id = {stop}.branch_id \
                 AND u.plan_id = {stop}.plan_id AND u.job_id = {stop}.job_id AND u.unit_id = t.unit_id)"
            )
        };
        Self {
            stop: row_of("s"),
            new: row_of("NEW"),
        }
    }

    /// In the tasks of the stop.
    fn of_tasks(backend: DbBackend) -> Self {
        let named_in = |stop: &str| match backend {
            // The text is looked through first: most stops do not have the unit, and to parse is dear.
            DbBackend::Sqlite => format!(
                "instr({stop}.tasks, json_quote(t.unit_id)) > 0 AND EXISTS (\
                 SELECT 1 FROM json_each({stop}.tasks) task, json_each(task.value, '$.unit_ids') unit \
                 WHERE unit.value = t.unit_id)"
            ),
            _ => format!(
                "{stop}.tasks @> jsonb_build_array(jsonb_build_object('unit_ids', jsonb_build_array(t.unit_id)))"
            ),
        };
        Self {
            stop: named_in("s"),
            new: named_in("NEW"),
        }
    }
}

/// No stop comes into a plan that ends after its unit was tagged.
fn stop(units: &Units) -> Guard {
    Guard {
        name: "plan_stop_tagged_guard",
        table: "plan_stop",
        moment: Moment::Insert,
        rule: RULE,
        refuse_when: format!(
            "EXISTS (SELECT 1 FROM tag_out t WHERE t.branch_id = NEW.branch_id AND {OUT} \
             AND NEW.finish_time > t.create_time AND {})",
            units.new
        ),
    }
}

/// The guards of publication and of the start of work, which stood before with units found otherwise.
fn both(units: &Units) -> [Guard; 3] {
    let begins = format!(
        "EXISTS (SELECT 1 FROM plan_stop s JOIN tag_out t ON t.branch_id = s.branch_id \
         WHERE s.branch_id = NEW.branch_id AND s.plan_id = NEW.plan_id AND s.job_id = NEW.job_id \
         AND {OUT} AND t.create_time <= NEW.start_time AND {})",
        units.stop
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
                 AND s.finish_time > t.create_time AND {}))",
                units.stop
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
