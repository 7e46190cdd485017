//! Reads workers.

use forenoon_store::entity::{branch, worker};
use forenoon_store::sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect,
};

use super::name;
use crate::work::Error;
use crate::work::branch::Lookups;

/// The worker, if it is there.
///
/// # Errors
/// Those of the database.
pub async fn find(
    connection: &impl ConnectionTrait,
    branch: &str,
    id: &str,
) -> Result<Option<worker::Model>, Error> {
    let key = (branch.to_owned(), id.to_owned());
    Ok(worker::Entity::find_by_id(key).one(connection).await?)
}

/// The worker.
///
/// # Errors
/// [`Error::NotFound`] where it is not there.
pub async fn get(
    connection: &impl ConnectionTrait,
    branch: &str,
    id: &str,
) -> Result<worker::Model, Error> {
    find(connection, branch, id)
        .await?
        .ok_or_else(|| Error::not_found(name(branch, id)))
}

/// The worker and its branch.
///
/// # Errors
/// [`Error::NotFound`] where either is not there.
pub async fn with_branch(
    lookups: &Lookups,
    branch: &str,
    id: &str,
) -> Result<(worker::Model, branch::Model), Error> {
    let absent = || name(branch, id);
    lookups.workers.find(branch, id, absent).await
}

/// At most `limit` workers of the branch by id, from the first after `after`.
///
/// # Errors
/// Those of the database.
pub async fn list(
    connection: &impl ConnectionTrait,
    branch: &str,
    after: Option<&str>,
    limit: u64,
) -> Result<Vec<worker::Model>, Error> {
    let mut query = worker::Entity::find().filter(worker::Column::BranchId.eq(branch));
    if let Some(after) = after {
        query = query.filter(worker::Column::Id.gt(after));
    }
    Ok(query
        .order_by_asc(worker::Column::Id)
        .limit(limit)
        .all(connection)
        .await?)
}
