//! Reads units, each with the tag that may keep it from going out.

use std::collections::HashMap;

use forenoon_store::entity::{branch, tag_out, unit};
use forenoon_store::sea_orm::sea_query::{Query, SelectStatement};
use forenoon_store::sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect, Select,
};
use forenoon_store::value::Severity;

use super::name;
use crate::work::Error;
use crate::work::branch::Lookups;
use crate::work::tag_out::open_tags;

/// A unit with its open tag-out.
#[derive(Clone, Debug, PartialEq)]
pub struct UnitNow {
    /// The unit.
    pub unit: unit::Model,
    /// Its open tag-out, of which there is one at most.
    pub open_tag_out: Option<tag_out::Model>,
}

/// Whether a unit may go out.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum UnitState {
    /// Fit to go out.
    Fit,
    /// For some work only, by an open tag-out of reduced severity.
    Limited,
    /// Must not go out, by an open tag-out.
    TaggedOut,
    /// Left the fleet, tagged or not.
    Retired,
}

impl UnitNow {
    /// Whether it may go out.
    pub fn state(&self) -> UnitState {
        match &self.open_tag_out {
            _ if self.unit.retired => UnitState::Retired,
            None => UnitState::Fit,
            Some(tag) => match tag.severity {
                Severity::Unsafe => UnitState::TaggedOut,
                Severity::Reduced => UnitState::Limited,
            },
        }
    }
}

/// The unit, if it is there.
///
/// # Errors
/// Those of the database.
pub async fn find(
    connection: &impl ConnectionTrait,
    branch: &str,
    id: &str,
) -> Result<Option<unit::Model>, Error> {
    let key = (branch.to_owned(), id.to_owned());
    Ok(unit::Entity::find_by_id(key).one(connection).await?)
}

/// The unit.
///
/// # Errors
/// [`Error::NotFound`] where it is not there.
pub(super) async fn get(
    connection: &impl ConnectionTrait,
    branch: &str,
    id: &str,
) -> Result<unit::Model, Error> {
    find(connection, branch, id)
        .await?
        .ok_or_else(|| Error::not_found(name(branch, id)))
}

/// The unit and its branch.
///
/// # Errors
/// [`Error::NotFound`] where either is not there.
pub async fn with_branch(
    lookups: &Lookups,
    branch: &str,
    id: &str,
) -> Result<(unit::Model, branch::Model), Error> {
    let absent = || name(branch, id);
    lookups.units.find(branch, id, absent).await
}

/// The unit with its open tag-out.
///
/// # Errors
/// Those of the database.
pub async fn with_tag(
    connection: &impl ConnectionTrait,
    unit: unit::Model,
) -> Result<UnitNow, Error> {
    let open_tag_out = tag_out::Entity::find()
        .filter(tag_out::Column::BranchId.eq(unit.branch_id.as_str()))
        .filter(tag_out::Column::UnitId.eq(unit.id.as_str()))
        .filter(open_tags())
        .one(connection)
        .await?;
    Ok(UnitNow { unit, open_tag_out })
}

/// At most `limit` units of the branch by id, from the first after `after`; those in `state`, or all.
///
/// # Errors
/// Those of the database.
pub async fn list(
    connection: &impl ConnectionTrait,
    branch: &str,
    state: Option<UnitState>,
    after: Option<&str>,
    limit: u64,
) -> Result<Vec<UnitNow>, Error> {
    let mut query = unit::Entity::find().filter(unit::Column::BranchId.eq(branch));
    if let Some(state) = state {
        query = in_state(query, branch, state);
    }
    if let Some(after) = after {
        query = query.filter(unit::Column::Id.gt(after));
    }
    let units = query
        .order_by_asc(unit::Column::Id)
        .limit(limit)
        .all(connection)
        .await?;
    let ids = units.iter().map(|unit| unit.id.as_str());
    let tags = tag_out::Entity::find()
        .filter(tag_out::Column::BranchId.eq(branch))
        .filter(tag_out::Column::UnitId.is_in(ids))
        .filter(open_tags())
        .all(connection)
        .await?;
    let mut tags: HashMap<String, tag_out::Model> = tags
        .into_iter()
        .map(|tag| (tag.unit_id.clone(), tag))
        .collect();
    Ok(units
        .into_iter()
        .map(|unit| UnitNow {
            open_tag_out: tags.remove(&unit.id),
            unit,
        })
        .collect())
}

fn in_state(query: Select<unit::Entity>, branch: &str, state: UnitState) -> Select<unit::Entity> {
    let id = unit::Column::Id;
    let query = query.filter(unit::Column::Retired.eq(state == UnitState::Retired));
    match state {
        UnitState::Retired => query,
        UnitState::Fit => query.filter(id.not_in_subquery(tagged(branch, None))),
        UnitState::Limited => query.filter(id.in_subquery(tagged(branch, Some(Severity::Reduced)))),
        UnitState::TaggedOut => {
            query.filter(id.in_subquery(tagged(branch, Some(Severity::Unsafe))))
        }
    }
}

/// Ids of units with an open tag-out.
fn tagged(branch: &str, severity: Option<Severity>) -> SelectStatement {
    let mut tags = Query::select();
    tags.column(tag_out::Column::UnitId)
        .from(tag_out::Entity)
        .and_where(tag_out::Column::BranchId.eq(branch))
        .and_where(open_tags())
        .and_where_option(severity.map(|severity| tag_out::Column::Severity.eq(severity)));
    tags
}
