//! Keeps crews from driving with a tagged truck or trailer, and from going on with work with a tagged unit; and keeps since when
//! a tag forbids each kind of work.
//!
//! A unit that must not trim since eight, and since ten must not mow either, did true mowing between: of the kinds that a tag
//! forbade before it was made to forbid more, `forbidden_earlier` has the times. Empty for all tags of before.
//!
//! The guards of before ask at the start of work for the units of its stop. What a crew drives with is on its load-out, and no
//! stop names it. That a crew drove follows from the first thing told of a visit: that it set out, is there or has begun. Work
//! that stood still goes on by the plan that is published for the day by then; where a later day has the job, that day's rule
//! is for the server. Whether a crew was elsewhere meanwhile is for the server, too.
//!
//! What is told to have been before the tag happened, as for the guards of before. A visit that has ended is history.

use sea_orm_migration::prelude::*;
use sea_orm_migration::schema::json_binary;
use sea_orm_migration::sea_orm::DbBackend;

use crate::guard::{Guard, Moment, put_up, take_down};

const TABLE: &str = "visit";
const TAGS: &str = "tag_out";
const COLUMN: &str = "forbidden_earlier";
const RULE: &str = "unit_tagged_out";

/// An open tag that keeps its unit from going out. The table is `t`.
const OUT: &str = "t.severity = 'unsafe' AND t.state <> 'released'";
/// Since when the tag `t` does.
const SINCE: &str = "COALESCE(t.severity_time, t.create_time)";

#[derive(DeriveMigrationName)]
pub(crate) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let mut alter = Table::alter().table(TAGS).take();
        manager
            .alter_table(alter.add_column(json_binary(COLUMN).default("[]")).take())
            .await?;
        for guard in guards(manager.get_database_backend()) {
            put_up(manager, &guard).await?;
        }
        Ok(())
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        for guard in guards(manager.get_database_backend()) {
            take_down(manager, &guard).await?;
        }
        manager
            .alter_table(Table::alter().table(TAGS).drop_column(COLUMN).take())
            .await
    }
}

fn guards(backend: DbBackend) -> [Guard; 3] {
    let guard = |name, moment, refuse_when| Guard {
        name,
        table: TABLE,
        moment,
        rule: RULE,
        refuse_when,
    };
    let drives = drives();
    [
        guard("visit_drive_tagged_guard", Moment::Insert, drives.clone()),
        guard(
            "visit_drive_anew_tagged_guard",
            Moment::Update,
            // Another crew, or another day, tells anew.
            format!(
                "(NEW.crew_id <> OLD.crew_id OR {} IS DISTINCT FROM {}) AND {drives}",
                first_told("NEW"),
                first_told("OLD")
            ),
        ),
        guard(
            "visit_go_on_tagged_guard",
            Moment::Update,
            format!(
                "NEW.resume_times <> OLD.resume_times AND {}",
                goes_on(backend)
            ),
        ),
    ]
}

/// The first instant told of a visit; none where nothing is.
fn first_told(row: &str) -> String {
    format!("COALESCE({row}.depart_time, {row}.arrive_time, {row}.start_time)")
}

/// SQL that holds where the crew of a visit drove for it after its truck or trailer was tagged out: what the load-out has it
/// drive with, or its own vehicle where it has none there.
fn drives() -> String {
    let aboard = |which: &str| {
        format!(
            "EXISTS (SELECT 1 FROM plan_load_out l JOIN unit u ON u.branch_id = l.branch_id AND u.id = l.unit_id \
             WHERE l.branch_id = NEW.branch_id AND l.plan_id = NEW.plan_id AND l.crew_id = NEW.crew_id AND {which})"
        )
    };
    format!(
        "NEW.finish_time IS NULL AND EXISTS (SELECT 1 FROM tag_out t WHERE t.branch_id = NEW.branch_id AND {OUT} \
         AND {SINCE} <= {} AND ({} OR (\
         EXISTS (SELECT 1 FROM crew c WHERE c.branch_id = NEW.branch_id AND c.id = NEW.crew_id \
         AND c.vehicle_id = t.unit_id) AND NOT {})))",
        first_told("NEW"),
        aboard("l.unit_id = t.unit_id AND u.kind IN ('vehicle', 'trailer')"),
        aboard("u.kind = 'vehicle'")
    )
}

/// SQL that holds where the work of a visit goes on with a unit of its stop that was tagged out by then.
fn goes_on(backend: DbBackend) -> String {
    let (last, since, has_unit) = match backend {
        DbBackend::Sqlite => (
            "(SELECT MAX(julianday(resumed.value)) FROM json_each(NEW.resume_times) resumed)",
            format!("julianday({SINCE})"),
            // The text is looked through first: most stops do not have the unit, and to parse is dear.
            "instr(s.tasks, json_quote(t.unit_id)) > 0 AND EXISTS (\
             SELECT 1 FROM json_each(s.tasks) task, json_each(task.value, '$.unit_ids') unit \
             WHERE unit.value = t.unit_id)",
        ),
        _ => (
            "(SELECT MAX(CAST(resumed.value AS timestamptz)) \
             FROM jsonb_array_elements_text(NEW.resume_times) resumed(value))",
            SINCE.to_owned(),
            "s.tasks @> jsonb_build_array(jsonb_build_object('unit_ids', jsonb_build_array(t.unit_id)))",
        ),
    };
    let of_job = |stop: &str, plan: &str| {
        format!(
            "JOIN plan_stop {stop} ON {stop}.branch_id = {plan}.branch_id AND {stop}.plan_id = {plan}.id \
             AND {stop}.job_id = NEW.job_id AND {stop}.crew_id = NEW.crew_id"
        )
    };
    format!(
        "NEW.finish_time IS NULL AND EXISTS (SELECT 1 FROM plan own \
         JOIN plan p ON p.branch_id = own.branch_id AND p.day = own.day AND p.state = 'published' \
         {} JOIN tag_out t ON t.branch_id = own.branch_id \
         WHERE own.branch_id = NEW.branch_id AND own.id = NEW.plan_id AND {OUT} AND {since} <= {last} AND {has_unit} \
         AND NOT EXISTS (SELECT 1 FROM plan q {} \
         WHERE q.branch_id = own.branch_id AND q.state = 'published' AND q.day > own.day))",
        of_job("s", "p"),
        of_job("z", "q")
    )
}
