//! Reads crews, each with what its workers bring.

use std::collections::{BTreeSet, HashMap};

use forenoon_store::entity::{crew, worker};
use forenoon_store::sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect,
};

use super::name;
use crate::work::Error;

/// A crew with what its workers bring.
#[derive(Clone, Debug, PartialEq)]
pub struct CrewNow {
    /// The crew.
    pub crew: crew::Model,
    /// How many workers are in it.
    pub size: usize,
    /// The skills they have between them, in alphabetical order.
    pub skills: BTreeSet<String>,
}

/// The crew, if it is there.
///
/// # Errors
/// Those of the database.
pub async fn find(
    connection: &impl ConnectionTrait,
    branch: &str,
    id: &str,
) -> Result<Option<crew::Model>, Error> {
    let key = (branch.to_owned(), id.to_owned());
    Ok(crew::Entity::find_by_id(key).one(connection).await?)
}

/// The crew.
///
/// # Errors
/// [`Error::NotFound`] where it is not there.
pub async fn get(
    connection: &impl ConnectionTrait,
    branch: &str,
    id: &str,
) -> Result<crew::Model, Error> {
    find(connection, branch, id)
        .await?
        .ok_or_else(|| Error::not_found(name(branch, id)))
}

/// The crew with what its workers bring.
///
/// # Errors
/// Those of the database.
pub async fn with_workers(
    connection: &impl ConnectionTrait,
    crew: crew::Model,
) -> Result<CrewNow, Error> {
    let branch = crew.branch_id.clone();
    let mut one = with_workers_all(connection, &branch, vec![crew]).await?;
    one.pop()
        .ok_or_else(|| Error::Internal("a crew was lost on the way".to_owned()))
}

/// At most `limit` crews of the branch by id, from the first after `after`.
///
/// # Errors
/// Those of the database.
pub async fn list(
    connection: &impl ConnectionTrait,
    branch: &str,
    after: Option<&str>,
    limit: u64,
) -> Result<Vec<CrewNow>, Error> {
    let mut query = crew::Entity::find().filter(crew::Column::BranchId.eq(branch));
    if let Some(after) = after {
        query = query.filter(crew::Column::Id.gt(after));
    }
    let crews = query
        .order_by_asc(crew::Column::Id)
        .limit(limit)
        .all(connection)
        .await?;
    with_workers_all(connection, branch, crews).await
}

async fn with_workers_all(
    connection: &impl ConnectionTrait,
    branch: &str,
    crews: Vec<crew::Model>,
) -> Result<Vec<CrewNow>, Error> {
    let workers = worker::Entity::find()
        .filter(worker::Column::BranchId.eq(branch))
        .filter(worker::Column::CrewId.is_in(crews.iter().map(|crew| crew.id.as_str())))
        .all(connection)
        .await?;
    let mut by_crew: HashMap<&str, Vec<&worker::Model>> = HashMap::new();
    for worker in &workers {
        if let Some(crew) = &worker.crew_id {
            by_crew.entry(crew).or_default().push(worker);
        }
    }
    Ok(crews
        .into_iter()
        .map(|crew| {
            let workers = by_crew.remove(crew.id.as_str()).unwrap_or_default();
            let skills = workers.iter().flat_map(|worker| &worker.skills.0);
            CrewNow {
                size: workers.len(),
                skills: skills.cloned().collect(),
                crew,
            }
        })
        .collect())
}
