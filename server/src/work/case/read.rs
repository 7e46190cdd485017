//! Reads cases.

use forenoon_store::entity::site_case;
use forenoon_store::sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect,
};

use super::name;
use crate::work::Error;

/// The case.
///
/// # Errors
/// [`Error::NotFound`] where it is not there.
pub async fn get(
    connection: &impl ConnectionTrait,
    branch: &str,
    id: &str,
) -> Result<site_case::Model, Error> {
    site_case::Entity::find_by_id((branch.to_owned(), id.to_owned()))
        .one(connection)
        .await?
        .ok_or_else(|| Error::not_found(name(branch, id)))
}

/// Which cases to list.
#[derive(Clone, Copy, Debug, Default)]
pub struct CaseFilter {
    /// Only those not yet closed.
    pub open_only: bool,
}

/// At most `limit` cases of a branch, newest first, from the first below the number `below`.
///
/// # Errors
/// Those of the database.
pub async fn list(
    connection: &impl ConnectionTrait,
    branch: &str,
    filter: CaseFilter,
    below: Option<i64>,
    limit: u64,
) -> Result<Vec<site_case::Model>, Error> {
    let mut query = site_case::Entity::find().filter(site_case::Column::BranchId.eq(branch));
    if filter.open_only {
        query = query.filter(site_case::Column::Closed.eq(false));
    }
    if let Some(below) = below {
        query = query.filter(site_case::Column::Number.lt(below));
    }
    Ok(query
        .order_by_desc(site_case::Column::Number)
        .limit(limit)
        .all(connection)
        .await?)
}
