//! Columns which many tables share, so that they are spelled and typed once.

use sea_orm_migration::prelude::*;
use sea_orm_migration::schema::{big_integer, text, timestamp_with_time_zone};

/// Starts a table owned by a branch: key (`branch_id`, `id`), and a foreign key to the branch.
///
/// The branch comes first in the key because it is the unit of partition: every query names one.
pub(crate) fn owned_by_branch(table: &'static str) -> TableCreateStatement {
    Table::create()
        .table(table)
        .col(text("branch_id"))
        .col(text("id"))
        .primary_key(
            Index::create()
                .name(format!("{table}_pkey"))
                .col("branch_id")
                .col("id"),
        )
        .foreign_key(
            ForeignKey::create()
                .name(format!("{table}_branch_fkey"))
                .from(table, "branch_id")
                .to("branch", "id"),
        )
        .take()
}

/// Adds the revision that guards against overwriting, and the two times every resource carries.
pub(crate) fn with_revision(table: &mut TableCreateStatement) -> &mut TableCreateStatement {
    table
        .col(big_integer("revision"))
        .col(timestamp_with_time_zone("create_time"))
        .col(timestamp_with_time_zone("update_time"))
}

/// A foreign key within the branch: (`branch_id`, `column`) to (`branch_id`, `id`).
///
/// Composite, so that a row can never refer to another branch's row.
pub(crate) fn within_branch(
    table: &'static str,
    column: &'static str,
    target: &'static str,
) -> ForeignKeyCreateStatement {
    ForeignKey::create()
        .name(format!("{table}_{column}_fkey"))
        .from(table, ("branch_id", column))
        .to(target, ("branch_id", "id"))
        .take()
}

/// A check that a text column holds one of the given words.
pub(crate) fn one_of(column: &str, words: &[&str]) -> Expr {
    let list = words
        .iter()
        .map(|word| format!("'{word}'"))
        .collect::<Vec<_>>()
        .join(", ");
    Expr::cust(format!("{column} IN ({list})"))
}
