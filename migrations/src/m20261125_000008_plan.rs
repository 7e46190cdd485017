//! Day plans with their crew days, load-outs, stops and unplanned jobs.

use sea_orm_migration::prelude::*;
use sea_orm_migration::schema::{
    big_integer, boolean, date, double, integer, json_binary, text, text_null,
    timestamp_with_time_zone, timestamp_with_time_zone_null,
};

use crate::columns::{one_of, owned_by_branch, with_revision, within_branch};

/// The tables that hang on a plan, in the order in which they can be dropped.
const PARTS: [&str; 5] = [
    "plan_unplanned",
    "plan_stop_unit",
    "plan_stop",
    "plan_load_out",
    "plan_crew_day",
];

#[derive(DeriveMigrationName)]
pub(crate) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        manager.create_table(plan()).await?;
        for index in plan_indexes() {
            manager.create_index(index).await?;
        }
        manager.create_table(crew_day()).await?;
        manager.create_table(load_out()).await?;
        manager.create_table(stop()).await?;
        manager.create_table(stop_unit()).await?;
        manager.create_table(unplanned()).await?;
        for index in part_indexes() {
            manager.create_index(index).await?;
        }
        Ok(())
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        for table in PARTS {
            manager
                .drop_table(Table::drop().table(table).take())
                .await?;
        }
        manager.drop_table(Table::drop().table("plan").take()).await
    }
}

fn plan() -> TableCreateStatement {
    let mut table = owned_by_branch("plan")
        .col(date("day"))
        .col(integer("day_revision"))
        .col(text("state"))
        .col(text_null("base_plan_id"))
        .col(json_binary("totals"))
        .col(big_integer("seed"))
        .col(big_integer("iterations"))
        // What a proposal would change, why, and who is to be phoned; empty for other plans.
        .col(text("cause"))
        .col(json_binary("changes"))
        .col(json_binary("sites_to_phone"))
        .col(text("created_by"))
        .col(timestamp_with_time_zone_null("publish_time"))
        .foreign_key(&mut within_branch("plan", "base_plan_id", "plan"))
        .check(one_of(
            "state",
            &["draft", "published", "replaced", "discarded"],
        ))
        .check(Expr::cust("day_revision >= 1"))
        .check(Expr::cust(
            "(state IN ('published', 'replaced')) = (publish_time IS NOT NULL)",
        ))
        .take();
    with_revision(&mut table).to_owned()
}

fn plan_indexes() -> [IndexCreateStatement; 3] {
    [
        Index::create()
            .name("plan_day_revision_key")
            .table("plan")
            .col("branch_id")
            .col("day")
            .col("day_revision")
            .unique()
            .take(),
        // Crews go by one plan a day. Partial, so that drafts and replaced plans do not count.
        Index::create()
            .name("plan_published_key")
            .table("plan")
            .col("branch_id")
            .col("day")
            .unique()
            .and_where(Expr::col("state").eq("published"))
            .take(),
        Index::create()
            .name("plan_base_plan_id_idx")
            .table("plan")
            .col("branch_id")
            .col("base_plan_id")
            .take(),
    ]
}

/// A table whose rows go with their plan.
fn part(table: &'static str) -> TableCreateStatement {
    Table::create()
        .table(table)
        .col(text("branch_id"))
        .col(text("plan_id"))
        .foreign_key(within_branch(table, "plan_id", "plan").on_delete(ForeignKeyAction::Cascade))
        .take()
}

/// A primary key of the plan and further columns.
fn key(table: &str, columns: &[&'static str]) -> IndexCreateStatement {
    let mut index = Index::create()
        .name(format!("{table}_pkey"))
        .col("branch_id")
        .col("plan_id")
        .take();
    for column in columns {
        index.col(*column);
    }
    index
}

fn crew_day() -> TableCreateStatement {
    part("plan_crew_day")
        .col(text("crew_id"))
        .col(text("crew_display_name"))
        .col(timestamp_with_time_zone_null("depart_time"))
        .col(timestamp_with_time_zone_null("return_time"))
        .col(double("load_taken_litres"))
        .col(double("load_space_litres"))
        .col(integer("overtime_seconds"))
        .primary_key(&mut key("plan_crew_day", &["crew_id"]))
        .foreign_key(&mut within_branch("plan_crew_day", "crew_id", "crew"))
        .take()
}

/// The key is the unit, not the crew: so a unit is on one load-out of a plan at most.
fn load_out() -> TableCreateStatement {
    part("plan_load_out")
        .col(text("unit_id"))
        .col(text("crew_id"))
        .primary_key(&mut key("plan_load_out", &["unit_id"]))
        .foreign_key(&mut within_branch("plan_load_out", "unit_id", "unit"))
        .foreign_key(&mut to_crew_day("plan_load_out"))
        .take()
}

/// The key is the job: so a job has one stop in a plan at most.
fn stop() -> TableCreateStatement {
    part("plan_stop")
        .col(text("job_id"))
        .col(text("crew_id"))
        .col(integer("position"))
        .col(text("site_id"))
        .col(text("site_display_name"))
        .col(timestamp_with_time_zone("arrive_time"))
        .col(timestamp_with_time_zone("start_time"))
        .col(timestamp_with_time_zone("finish_time"))
        .col(integer("drive_seconds"))
        .col(integer("slack_seconds"))
        .col(json_binary("tasks"))
        .col(boolean("fixed"))
        .primary_key(&mut key("plan_stop", &["job_id"]))
        .foreign_key(&mut within_branch("plan_stop", "job_id", "job"))
        .foreign_key(&mut within_branch("plan_stop", "site_id", "site"))
        .foreign_key(&mut to_crew_day("plan_stop"))
        .check(Expr::cust("arrive_time <= start_time"))
        .check(Expr::cust("start_time <= finish_time"))
        .take()
}

/// The units a stop works with, once each, so that the database can refuse one that is tagged out.
fn stop_unit() -> TableCreateStatement {
    part("plan_stop_unit")
        .col(text("job_id"))
        .col(text("unit_id"))
        .primary_key(&mut key("plan_stop_unit", &["job_id", "unit_id"]))
        .foreign_key(&mut within_branch("plan_stop_unit", "unit_id", "unit"))
        .foreign_key(
            ForeignKey::create()
                .name("plan_stop_unit_stop_fkey")
                .from("plan_stop_unit", ("branch_id", "plan_id", "job_id"))
                .to("plan_stop", ("branch_id", "plan_id", "job_id"))
                .on_delete(ForeignKeyAction::Cascade),
        )
        .take()
}

fn unplanned() -> TableCreateStatement {
    part("plan_unplanned")
        .col(text("job_id"))
        .col(integer("position"))
        .col(text("job_display_name"))
        .col(json_binary("reasons"))
        .primary_key(&mut key("plan_unplanned", &["job_id"]))
        .foreign_key(&mut within_branch("plan_unplanned", "job_id", "job"))
        .take()
}

/// A foreign key to the crew's day in the same plan.
fn to_crew_day(table: &'static str) -> ForeignKeyCreateStatement {
    ForeignKey::create()
        .name(format!("{table}_crew_day_fkey"))
        .from(table, ("branch_id", "plan_id", "crew_id"))
        .to("plan_crew_day", ("branch_id", "plan_id", "crew_id"))
        .on_delete(ForeignKeyAction::Cascade)
        .take()
}

fn part_indexes() -> Vec<IndexCreateStatement> {
    let mut indexes = vec![
        Index::create()
            .name("plan_stop_position_key")
            .table("plan_stop")
            .col("branch_id")
            .col("plan_id")
            .col("crew_id")
            .col("position")
            .unique()
            .take(),
    ];
    // Looked up from the other side: which plans have this unit, job, site or crew?
    for (table, column) in [
        ("plan_crew_day", "crew_id"),
        ("plan_load_out", "unit_id"),
        ("plan_stop", "job_id"),
        ("plan_stop", "site_id"),
        ("plan_stop_unit", "unit_id"),
        ("plan_unplanned", "job_id"),
    ] {
        indexes.push(
            Index::create()
                .name(format!("{table}_{column}_idx"))
                .table(table)
                .col("branch_id")
                .col(column)
                .take(),
        );
    }
    indexes
}
