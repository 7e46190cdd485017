//! Reads jobs.

use chrono::NaiveDate;
use forenoon_store::entity::{branch, job};
use forenoon_store::sea_orm::sea_query::{Expr, Func};
use forenoon_store::sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect, Select,
};
use forenoon_store::value::JobState;

use super::name;
use crate::work::Error;
use crate::work::branch::Lookups;

/// Which jobs of a branch are asked for; none of a part means all.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Filter {
    /// Only in this state.
    pub state: Option<JobState>,
    /// Only at this site.
    pub site_id: Option<String>,
    /// Only such as may be done on this day.
    pub day: Option<NaiveDate>,
}

/// The job, if it is there.
///
/// # Errors
/// Those of the database.
pub async fn find(
    connection: &impl ConnectionTrait,
    branch: &str,
    id: &str,
) -> Result<Option<job::Model>, Error> {
    let key = (branch.to_owned(), id.to_owned());
    Ok(job::Entity::find_by_id(key).one(connection).await?)
}

/// The job.
///
/// # Errors
/// [`Error::NotFound`] where it is not there.
pub(super) async fn get(
    connection: &impl ConnectionTrait,
    branch: &str,
    id: &str,
) -> Result<job::Model, Error> {
    find(connection, branch, id)
        .await?
        .ok_or_else(|| Error::not_found(name(branch, id)))
}

/// The job and its branch.
///
/// # Errors
/// [`Error::NotFound`] where either is not there.
pub async fn with_branch(
    lookups: &Lookups,
    branch: &str,
    id: &str,
) -> Result<(job::Model, branch::Model), Error> {
    let absent = || name(branch, id);
    lookups.jobs.find(branch, id, absent).await
}

/// At most `limit` jobs of the branch by id, from the first after `after`.
///
/// # Errors
/// Those of the database.
pub async fn list(
    connection: &impl ConnectionTrait,
    branch: &str,
    filter: &Filter,
    after: Option<&str>,
    limit: u64,
) -> Result<Vec<job::Model>, Error> {
    let wanted = usize::try_from(limit).unwrap_or(usize::MAX);
    let mut found: Vec<job::Model> = Vec::new();
    let mut last = after.map(str::to_owned);
    loop {
        let rows = matching(branch, filter, last.as_deref())
            .limit(limit)
            .all(connection)
            .await?;
        let whole = rows.len() >= wanted;
        last = rows.last().map(|row| row.id.clone());
        // Between the first and the last day of all windows there may be days that none has.
        found.extend(
            rows.into_iter()
                .filter(|row| filter.day.is_none_or(|day| may_be_done_on(row, day))),
        );
        if !whole || found.len() >= wanted {
            found.truncate(wanted);
            return Ok(found);
        }
    }
}

fn matching(branch: &str, filter: &Filter, after: Option<&str>) -> Select<job::Entity> {
    let Filter {
        state,
        site_id,
        day,
    } = filter;
    let mut query = job::Entity::find().filter(job::Column::BranchId.eq(branch));
    if let Some(state) = state {
        query = query.filter(job::Column::State.eq(*state));
    }
    if let Some(site) = site_id {
        query = query.filter(job::Column::SiteId.eq(site.as_str()));
    }
    if let Some(day) = day {
        query = query
            .filter(job::Column::FirstDay.lte(*day))
            .filter(job::Column::LastDay.gte(*day));
    }
    if let Some(after) = after {
        query = query.filter(job::Column::Id.gt(after));
    }
    if day.is_some() {
        // An expression, not the column: in the order of the key all jobs of years would be walked past.
        let id = Func::coalesce([Expr::col(job::Column::Id), Expr::val("")]);
        return query.order_by_asc(Expr::from(id));
    }
    query.order_by_asc(job::Column::Id)
}

fn may_be_done_on(row: &job::Model, day: NaiveDate) -> bool {
    row.windows
        .0
        .iter()
        .any(|window| window.first_day <= day && day <= window.last_day)
}
