//! Tag-outs: a unit's out-of-service tags, from the finding to the release.

use sea_orm_migration::prelude::*;
use sea_orm_migration::schema::{
    big_integer, json_binary_null, text, text_null, timestamp_with_time_zone_null,
};

use crate::columns::{one_of, owned_by_branch, with_revision, within_branch};

/// What may be seen, heard or smelt.
const SYMPTOMS: [&str; 9] = [
    "no_start",
    "power_loss",
    "vibration",
    "leak",
    "guard",
    "cutting_part",
    "running_gear",
    "overheating",
    "other",
];

/// Where a tag-out may stand.
const STATES: [&str; 6] = [
    "tagged",
    "diagnosed",
    "waiting_for_parts",
    "repaired",
    "inspected",
    "released",
];

#[derive(DeriveMigrationName)]
pub(crate) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let mut table = owned_by_branch("tag_out")
            .col(big_integer("number"))
            .col(text("unit_id"))
            .col(text("symptom"))
            .col(text("description"))
            .col(text("severity"))
            .col(text_null("found_by_id"))
            .col(text_null("job_id"))
            .col(json_binary_null("contact"))
            .col(text("state"))
            .col(text("diagnosis"))
            .col(timestamp_with_time_zone_null("expected_return_time"))
            .col(text("repair"))
            .col(text_null("repaired_by_id"))
            .col(text("inspection"))
            .col(text_null("inspected_by_id"))
            .col(text_null("released_by_id"))
            .col(timestamp_with_time_zone_null("release_time"))
            .foreign_key(&mut within_branch("tag_out", "unit_id", "unit"))
            .foreign_key(&mut within_branch("tag_out", "found_by_id", "worker"))
            .foreign_key(&mut within_branch("tag_out", "job_id", "job"))
            .foreign_key(&mut within_branch("tag_out", "repaired_by_id", "worker"))
            .foreign_key(&mut within_branch("tag_out", "inspected_by_id", "worker"))
            .foreign_key(&mut within_branch("tag_out", "released_by_id", "worker"))
            .check(one_of("symptom", &SYMPTOMS))
            .check(one_of("severity", &["unsafe", "reduced"]))
            .check(one_of("state", &STATES))
            .check(Expr::cust(
                "(state = 'released') = (release_time IS NOT NULL)",
            ))
            .check(Expr::cust(
                "(state = 'released') = (released_by_id IS NOT NULL)",
            ))
            .take();
        manager
            .create_table(with_revision(&mut table).to_owned())
            .await?;
        manager
            .create_index(
                Index::create()
                    .name("tag_out_number_key")
                    .table("tag_out")
                    .col("branch_id")
                    .col("number")
                    .unique()
                    .take(),
            )
            .await?;
        manager
            .create_index(
                Index::create()
                    .name("tag_out_unit_id_idx")
                    .table("tag_out")
                    .col("branch_id")
                    .col("unit_id")
                    .col("number")
                    .take(),
            )
            .await?;
        // At most one open tag on a unit. Partial, so that released ones do not count.
        manager
            .create_index(
                Index::create()
                    .name("tag_out_open_key")
                    .table("tag_out")
                    .col("branch_id")
                    .col("unit_id")
                    .unique()
                    .and_where(Expr::col("state").ne("released"))
                    .take(),
            )
            .await
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        manager
            .drop_table(Table::drop().table("tag_out").take())
            .await
    }
}
