//! Reads branches.

use forenoon_store::entity::branch;
use forenoon_store::sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect,
};

use super::name;
use crate::work::Error;

/// The branch, if it is there.
///
/// # Errors
/// Those of the database.
pub async fn find(
    connection: &impl ConnectionTrait,
    id: &str,
) -> Result<Option<branch::Model>, Error> {
    Ok(branch::Entity::find_by_id(id).one(connection).await?)
}

/// The branch.
///
/// # Errors
/// [`Error::NotFound`] where it is not there.
pub async fn get(connection: &impl ConnectionTrait, id: &str) -> Result<branch::Model, Error> {
    find(connection, id)
        .await?
        .ok_or_else(|| Error::not_found(name(id)))
}

/// At most `limit` branches by id, from the first after `after`.
///
/// # Errors
/// Those of the database.
pub async fn list(
    connection: &impl ConnectionTrait,
    after: Option<&str>,
    limit: u64,
) -> Result<Vec<branch::Model>, Error> {
    let mut query = branch::Entity::find();
    if let Some(after) = after {
        query = query.filter(branch::Column::Id.gt(after));
    }
    Ok(query
        .order_by_asc(branch::Column::Id)
        .limit(limit)
        .all(connection)
        .await?)
}

/// The ids of all branches.
///
/// # Errors
/// Those of the database.
pub async fn all_ids(connection: &impl ConnectionTrait) -> Result<Vec<String>, Error> {
    Ok(branch::Entity::find()
        .select_only()
        .column(branch::Column::Id)
        .order_by_asc(branch::Column::Id)
        .into_tuple()
        .all(connection)
        .await?)
}
