//! Visits as they come to pass: from departure to end, and again where a job was not done the first time.
//!
//! A job may be tried more than once, so the attempt joins the key; and a crew departs before it starts, so the start
//! may be unknown. SQLite cannot change either in place: the table is built anew and takes the old rows over.

use sea_orm_migration::prelude::*;
use sea_orm_migration::schema::{
    integer, json_binary, text, timestamp_with_time_zone, timestamp_with_time_zone_null,
};

use crate::columns::{one_of, within_branch};
use crate::guard::{Guard, Moment, put_up, take_down};

/// Where a visit may stand.
const STATES: [&str; 6] = [
    "under_way",
    "arrived",
    "working",
    "paused",
    "done",
    "not_done",
];

#[derive(DeriveMigrationName)]
pub(crate) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        take_down(manager, &insert_guard()).await?;
        manager.create_table(attempts()).await?;
        move_rows(
            manager,
            "INSERT INTO visit_next (branch_id, job_id, plan_id, crew_id, state, start_time, finish_time, \
             task_actuals, bags, note) \
             SELECT branch_id, job_id, plan_id, crew_id, \
             CASE WHEN finish_time IS NULL THEN 'working' ELSE 'done' END, start_time, finish_time, \
             task_actuals, bags, note FROM visit",
        )
        .await?;
        add_indexes(manager).await?;
        // Work is begun once: all attempts but the last were given up.
        manager
            .create_index(
                Index::create()
                    .name("visit_current_key")
                    .table("visit")
                    .col("branch_id")
                    .col("job_id")
                    .unique()
                    .and_where(Expr::col("state").ne("not_done"))
                    .take(),
            )
            .await?;
        put_up(manager, &insert_guard()).await?;
        put_up(manager, &start_guard()).await
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        take_down(manager, &start_guard()).await?;
        take_down(manager, &insert_guard()).await?;
        manager.create_table(one_visit_each()).await?;
        move_rows(
            manager,
            "INSERT INTO visit_next (branch_id, job_id, plan_id, crew_id, start_time, finish_time, task_actuals, \
             bags, note) \
             SELECT branch_id, job_id, plan_id, crew_id, start_time, finish_time, task_actuals, bags, note \
             FROM visit WHERE state <> 'not_done' AND start_time IS NOT NULL",
        )
        .await?;
        add_indexes(manager).await?;
        put_up(manager, &insert_guard()).await
    }
}

/// Fills `visit_next` from `visit` and puts it in its place.
async fn move_rows(manager: &SchemaManager<'_>, copy: &str) -> Result<(), DbErr> {
    manager.get_connection().execute_unprepared(copy).await?;
    manager
        .drop_table(Table::drop().table("visit").take())
        .await?;
    manager
        .rename_table(Table::rename().table("visit_next", "visit").take())
        .await
}

async fn add_indexes(manager: &SchemaManager<'_>) -> Result<(), DbErr> {
    for column in ["plan_id", "crew_id"] {
        manager
            .create_index(
                Index::create()
                    .name(format!("visit_{column}_idx"))
                    .table("visit")
                    .col("branch_id")
                    .col(column)
                    .take(),
            )
            .await?;
    }
    Ok(())
}

fn attempts() -> TableCreateStatement {
    let mut table = Table::create()
        .table("visit_next")
        .col(text("branch_id"))
        .col(text("job_id"))
        .col(integer("attempt").default(1))
        .col(text("plan_id"))
        .col(text("crew_id"))
        .col(text("state"))
        .col(timestamp_with_time_zone_null("depart_time"))
        .col(timestamp_with_time_zone_null("arrive_time"))
        .col(timestamp_with_time_zone_null("start_time"))
        .col(timestamp_with_time_zone_null("finish_time"))
        .col(json_binary("pauses").default("[]"))
        .col(json_binary("resume_times").default("[]"))
        .col(json_binary("task_actuals"))
        .col(integer("bags"))
        .col(text("note"))
        .col(text("not_done_reason").default(""))
        .col(json_binary("walkthroughs").default("[]"))
        .primary_key(
            Index::create()
                .name("visit_attempt_pkey")
                .col("branch_id")
                .col("job_id")
                .col("attempt"),
        )
        .foreign_key(&mut within_branch("visit", "job_id", "job"))
        .foreign_key(&mut within_branch("visit", "plan_id", "plan"))
        .foreign_key(&mut within_branch("visit", "crew_id", "crew"))
        .check(one_of("state", &STATES))
        .check(Expr::cust("attempt >= 1"))
        .check(Expr::cust("bags >= 0"))
        .check(Expr::cust(
            "(state IN ('done', 'not_done')) = (finish_time IS NOT NULL)",
        ))
        .check(Expr::cust(
            "state NOT IN ('working', 'paused', 'done') OR start_time IS NOT NULL",
        ))
        .check(Expr::cust("(state = 'not_done') = (not_done_reason <> '')"))
        .take();
    let times = ["depart_time", "arrive_time", "start_time", "finish_time"];
    for (place, earlier) in times.iter().enumerate() {
        for later in &times[place + 1..] {
            table.check(Expr::cust(format!("{earlier} <= {later}")));
        }
    }
    table
}

/// The table as it was before.
fn one_visit_each() -> TableCreateStatement {
    Table::create()
        .table("visit_next")
        .col(text("branch_id"))
        .col(text("job_id"))
        .col(text("plan_id"))
        .col(text("crew_id"))
        .col(timestamp_with_time_zone("start_time"))
        .col(timestamp_with_time_zone_null("finish_time"))
        .col(json_binary("task_actuals"))
        .col(integer("bags"))
        .col(text("note"))
        .primary_key(
            Index::create()
                .name("visit_pkey")
                .col("branch_id")
                .col("job_id"),
        )
        .foreign_key(&mut within_branch("visit", "job_id", "job"))
        .foreign_key(&mut within_branch("visit", "plan_id", "plan"))
        .foreign_key(&mut within_branch("visit", "crew_id", "crew"))
        .check(Expr::cust("bags >= 0"))
        .check(Expr::cust("start_time <= finish_time"))
        .take()
}

/// Work does not begin with a unit tagged out by then.
fn begins_with_a_tagged_unit() -> String {
    "EXISTS (SELECT 1 FROM plan_stop_unit u JOIN tag_out t \
     ON t.branch_id = u.branch_id AND t.unit_id = u.unit_id \
     WHERE u.branch_id = NEW.branch_id AND u.plan_id = NEW.plan_id \
     AND u.job_id = NEW.job_id AND t.severity = 'unsafe' AND t.state <> 'released' \
     AND t.create_time <= NEW.start_time)"
        .to_owned()
}

fn insert_guard() -> Guard {
    Guard {
        name: "visit_tagged_guard",
        table: "visit",
        moment: Moment::Insert,
        rule: "unit_tagged_out",
        refuse_when: begins_with_a_tagged_unit(),
    }
}

/// The start may come to a visit that is there already.
fn start_guard() -> Guard {
    Guard {
        name: "visit_start_tagged_guard",
        table: "visit",
        moment: Moment::Update,
        rule: "unit_tagged_out",
        refuse_when: format!(
            "OLD.start_time IS NULL AND NEW.start_time IS NOT NULL AND {}",
            begins_with_a_tagged_unit()
        ),
    }
}
