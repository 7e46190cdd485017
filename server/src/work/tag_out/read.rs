//! Reads tag-outs.

use forenoon_store::entity::tag_out;
use forenoon_store::sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect,
};

use super::{name, open_tags};
use crate::work::Error;

/// The tag-out.
///
/// # Errors
/// [`Error::NotFound`] where it is not there.
pub async fn get(
    connection: &impl ConnectionTrait,
    branch: &str,
    id: &str,
) -> Result<tag_out::Model, Error> {
    tag_out::Entity::find_by_id((branch.to_owned(), id.to_owned()))
        .one(connection)
        .await?
        .ok_or_else(|| Error::not_found(name(branch, id)))
}

/// Which tag-outs to list.
#[derive(Clone, Debug, Default)]
pub struct TagOutFilter {
    /// Only those not yet released.
    pub open_only: bool,
    /// Only this unit's.
    pub unit: Option<String>,
}

/// At most `limit` tag-outs of a branch, newest first, from the first below the number `below`.
///
/// # Errors
/// Those of the database.
pub async fn list(
    connection: &impl ConnectionTrait,
    branch: &str,
    filter: &TagOutFilter,
    below: Option<i64>,
    limit: u64,
) -> Result<Vec<tag_out::Model>, Error> {
    let mut query = tag_out::Entity::find().filter(tag_out::Column::BranchId.eq(branch));
    if filter.open_only {
        query = query.filter(open_tags());
    }
    if let Some(unit) = &filter.unit {
        query = query.filter(tag_out::Column::UnitId.eq(unit.as_str()));
    }
    if let Some(below) = below {
        query = query.filter(tag_out::Column::Number.lt(below));
    }
    Ok(query
        .order_by_desc(tag_out::Column::Number)
        .limit(limit)
        .all(connection)
        .await?)
}
