//! What still refers to something that is to go.

use forenoon_store::sea_orm::{
    ColumnTrait, DatabaseTransaction, EntityTrait, QueryOrder, QuerySelect, Select,
};

use super::{Error, Obstacle, ObstacleKind};

/// Referrers of one kind that are named; more are left to the next try.
const NAMED_MAX: u64 = 20;

/// One obstacle for each resource of `collection` that the query finds.
///
/// `column` holds the referrer's id. `advice` says what it is to the thing that is to go and what to
/// do, as "is a job at it; delete the job first".
pub(super) async fn obstacles<E: EntityTrait>(
    transaction: &DatabaseTransaction,
    branch: &str,
    collection: &str,
    query: Select<E>,
    column: impl ColumnTrait,
    advice: &str,
) -> Result<Vec<Obstacle>, Error> {
    let ids: Vec<String> = query
        .select_only()
        .column(column)
        .distinct()
        .order_by_asc(column)
        .limit(NAMED_MAX)
        .into_tuple()
        .all(transaction)
        .await?;
    Ok(ids
        .into_iter()
        .map(|id| Obstacle {
            kind: ObstacleKind::StillReferredTo,
            subject: format!("branches/{branch}/{collection}/{id}"),
            description: advice.to_owned(),
        })
        .collect())
}

/// Refuses where anything stands in the way.
pub(super) fn refuse(obstacles: Vec<Obstacle>) -> Result<(), Error> {
    if obstacles.is_empty() {
        return Ok(());
    }
    Err(Error::Obstructed(obstacles))
}
