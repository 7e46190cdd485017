//! What is written with every accepted command, in its transaction.

use chrono::{DateTime, Utc};
use sea_orm::sea_query::{Expr, ExprTrait, OnConflict, Query};
use sea_orm::{ConnectionTrait, DatabaseTransaction, EntityTrait, IntoActiveModel};
use uuid::Uuid;

use crate::entity::{audit_entry, branch_sequence, command_answer, outbox_event};
use crate::error::StoreError;
use crate::insert::insert_all;

/// The answer kept for a request id, if any.
///
/// # Errors
/// Those of the database.
pub async fn find_answer(
    connection: &impl ConnectionTrait,
    request_id: Uuid,
) -> Result<Option<command_answer::Model>, StoreError> {
    Ok(command_answer::Entity::find_by_id(request_id)
        .one(connection)
        .await?)
}

/// Keeps the answer to a command for retries.
///
/// # Errors
/// [`StoreError::Unique`] where another call kept one first.
pub async fn keep_answer(
    transaction: &DatabaseTransaction,
    answer: command_answer::Model,
) -> Result<(), StoreError> {
    command_answer::Entity::insert(answer.into_active_model())
        .exec_without_returning(transaction)
        .await?;
    Ok(())
}

/// Takes the next `count` numbers of the branch and returns the first of them.
///
/// Also the meeting point of servers that write to one branch: the row is locked until commit, so
/// numbers become visible in their order and none is skipped.
///
/// # Errors
/// [`StoreError::Contention`] where another server writes to the branch.
pub async fn take_numbers(
    transaction: &DatabaseTransaction,
    branch: &str,
    count: i64,
) -> Result<i64, StoreError> {
    let statement = Query::insert()
        .into_table(branch_sequence::Entity)
        .columns([
            branch_sequence::Column::BranchId,
            branch_sequence::Column::LastSeq,
        ])
        .values_panic([branch.into(), count.into()])
        .on_conflict(
            OnConflict::column(branch_sequence::Column::BranchId)
                .value(
                    branch_sequence::Column::LastSeq,
                    Expr::col((branch_sequence::Entity, branch_sequence::Column::LastSeq))
                        .add(count),
                )
                .to_owned(),
        )
        .returning_col(branch_sequence::Column::LastSeq)
        .to_owned();
    let row = transaction
        .query_one(&statement)
        .await?
        .ok_or_else(|| StoreError::Other(sea_orm::DbErr::RecordNotInserted))?;
    let last: i64 = row.try_get("", "last_seq")?;
    Ok(last - count + 1)
}

/// Appends audit entries and the events that go with them.
///
/// # Errors
/// Those of the database.
pub async fn append(
    transaction: &DatabaseTransaction,
    entries: &[audit_entry::Model],
    events: &[outbox_event::Model],
) -> Result<(), StoreError> {
    insert_all(transaction, entries).await?;
    insert_all(transaction, events).await?;
    Ok(())
}

/// Forgets answers kept before `before`; a retry after that is a new command.
///
/// # Errors
/// Those of the database.
pub async fn forget_answers(
    transaction: &DatabaseTransaction,
    before: DateTime<Utc>,
) -> Result<u64, StoreError> {
    use sea_orm::{ColumnTrait, QueryFilter};
    let deleted = command_answer::Entity::delete_many()
        .filter(command_answer::Column::At.lt(before))
        .exec(transaction)
        .await?;
    Ok(deleted.rows_affected)
}
