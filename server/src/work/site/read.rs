//! Reads sites.

use forenoon_store::entity::{branch, site};
use forenoon_store::sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect,
};

use super::name;
use crate::work::Error;
use crate::work::branch::Lookups;

/// The site, if it is there.
///
/// # Errors
/// Those of the database.
pub async fn find(
    connection: &impl ConnectionTrait,
    branch: &str,
    id: &str,
) -> Result<Option<site::Model>, Error> {
    let key = (branch.to_owned(), id.to_owned());
    Ok(site::Entity::find_by_id(key).one(connection).await?)
}

/// The site.
///
/// # Errors
/// [`Error::NotFound`] where it is not there.
pub(super) async fn get(
    connection: &impl ConnectionTrait,
    branch: &str,
    id: &str,
) -> Result<site::Model, Error> {
    find(connection, branch, id)
        .await?
        .ok_or_else(|| Error::not_found(name(branch, id)))
}

/// The site and its branch.
///
/// # Errors
/// [`Error::NotFound`] where either is not there.
pub async fn with_branch(
    lookups: &Lookups,
    branch: &str,
    id: &str,
) -> Result<(site::Model, branch::Model), Error> {
    let absent = || name(branch, id);
    lookups.sites.find(branch, id, absent).await
}

/// At most `limit` sites of the branch by id, from the first after `after`.
///
/// # Errors
/// Those of the database.
pub async fn list(
    connection: &impl ConnectionTrait,
    branch: &str,
    after: Option<&str>,
    limit: u64,
) -> Result<Vec<site::Model>, Error> {
    let mut query = site::Entity::find().filter(site::Column::BranchId.eq(branch));
    if let Some(after) = after {
        query = query.filter(site::Column::Id.gt(after));
    }
    Ok(query
        .order_by_asc(site::Column::Id)
        .limit(limit)
        .all(connection)
        .await?)
}
