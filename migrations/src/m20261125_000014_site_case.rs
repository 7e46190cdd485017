//! Cases: damage, callbacks and complaints. `case` is a word of SQL, so the table says where they come from.

use sea_orm_migration::prelude::*;
use sea_orm_migration::schema::{big_integer, boolean, json_binary, text, text_null};

use crate::columns::{one_of, owned_by_branch, with_revision, within_branch};

#[derive(DeriveMigrationName)]
pub(crate) struct Migration;

#[async_trait::async_trait]
impl MigrationTrait for Migration {
    async fn up(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        let mut table = owned_by_branch("site_case")
            .col(big_integer("number"))
            .col(text("kind"))
            .col(text("job_id"))
            .col(text("description"))
            .col(text("cause"))
            .col(json_binary("photos"))
            .col(text("reported_by"))
            .col(text_null("hazard_id"))
            .col(text_null("return_job_id"))
            .col(boolean("closed"))
            .col(text("resolution"))
            .foreign_key(&mut within_branch("site_case", "job_id", "job"))
            .foreign_key(&mut within_branch("site_case", "return_job_id", "job"))
            .check(one_of("kind", &["damage", "callback", "complaint"]))
            .check(Expr::cust("closed = (resolution <> '')"))
            .check(Expr::cust("kind <> 'callback' OR cause <> ''"))
            .check(Expr::cust(
                "(kind = 'callback') = (return_job_id IS NOT NULL)",
            ))
            .check(Expr::cust("(kind = 'damage') = (hazard_id IS NOT NULL)"))
            .take();
        manager
            .create_table(with_revision(&mut table).to_owned())
            .await?;
        for (name, column, unique) in [
            ("site_case_number_key", "number", true),
            ("site_case_job_id_idx", "job_id", false),
        ] {
            let mut index = Index::create()
                .name(name)
                .table("site_case")
                .col("branch_id")
                .col(column)
                .take();
            if unique {
                index.unique();
            }
            manager.create_index(index).await?;
        }
        Ok(())
    }

    async fn down(&self, manager: &SchemaManager) -> Result<(), DbErr> {
        manager
            .drop_table(Table::drop().table("site_case").take())
            .await
    }
}
