//! Single rows. What is written is what was given: instants are whole microseconds, so nothing is read back.

use forenoon_store::entity::outbox_event;
use forenoon_store::sea_orm::{
    ActiveModelTrait, ColumnTrait, ConnectionTrait, DatabaseTransaction, EntityTrait,
    IntoActiveModel, Iterable, ModelTrait, PrimaryKeyToColumn, QueryFilter, QuerySelect, Select,
    TryGetable,
};

use super::Error;

/// Stores a new row.
///
/// # Errors
/// Those of the database.
pub(super) async fn insert<M>(transaction: &DatabaseTransaction, row: &M) -> Result<(), Error>
where
    M: ModelTrait + Clone + IntoActiveModel<<M::Entity as EntityTrait>::ActiveModel>,
{
    M::Entity::insert(row.clone().into_active_model())
        .exec_without_returning(transaction)
        .await?;
    Ok(())
}

/// The highest value of a column among rows; none where there are no rows.
///
/// # Errors
/// Those of the database.
pub(super) async fn highest<E, T>(
    connection: &impl ConnectionTrait,
    rows: Select<E>,
    column: E::Column,
) -> Result<Option<T>, Error>
where
    E: EntityTrait,
    T: TryGetable,
{
    let last: Option<Option<T>> = rows
        .select_only()
        .column_as(column.max(), "last")
        .into_tuple()
        .one(connection)
        .await?;
    Ok(last.flatten())
}

/// The number of a branch's last event; 0 where nothing has happened.
///
/// # Errors
/// Those of the database.
pub(super) async fn last_event(
    connection: &impl ConnectionTrait,
    branch: &str,
) -> Result<i64, Error> {
    let events = outbox_event::Entity::find().filter(outbox_event::Column::BranchId.eq(branch));
    let last = highest(connection, events, outbox_event::Column::Seq).await?;
    Ok(last.unwrap_or(0))
}

/// Writes those columns in which a row differs from what it was; its key stays.
///
/// # Errors
/// Those of the database; [`Error::Internal`] where the row is not there.
pub(super) async fn update<M>(
    transaction: &DatabaseTransaction,
    before: &M,
    after: &M,
) -> Result<(), Error>
where
    M: ModelTrait + Clone + IntoActiveModel<<M::Entity as EntityTrait>::ActiveModel>,
{
    let mut changed = before.clone().into_active_model();
    for column in <M::Entity as EntityTrait>::Column::iter() {
        changed.set_if_not_equals(column, after.get(column));
    }
    if !changed.is_changed() {
        return Ok(());
    }
    let mut statement = M::Entity::update_many().set(changed);
    for key in <M::Entity as EntityTrait>::PrimaryKey::iter() {
        let column = key.into_column();
        statement = statement.filter(column.eq(before.get(column)));
    }
    match statement.exec(transaction).await?.rows_affected {
        1 => Ok(()),
        rows => Err(Error::Internal(format!(
            "{rows} rows changed in place of one"
        ))),
    }
}
