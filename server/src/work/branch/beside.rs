//! A resource and its branch in one query. Answers tell measures and money as the branch has them, and what a read costs
//! is the way to the database and back more than what is done there.

use forenoon_store::entity::branch;
use forenoon_store::sea_orm::{
    ConnectionTrait, EntityTrait, JoinType, QuerySelect, RelationDef, Select,
};

use super::get;
use crate::work::Error;

/// What is found in a branch, with the branch. `of` is the column that names the branch.
///
/// # Errors
/// [`Error::NotFound`] where the branch or, in the words of `absent`, what is looked for in it is not there.
pub(crate) async fn beside<E: EntityTrait>(
    connection: &impl ConnectionTrait,
    branch: &str,
    found: Select<E>,
    of: E::Column,
    absent: impl FnOnce() -> String + Send,
) -> Result<(E::Model, branch::Model), Error> {
    let branch_of: RelationDef = E::belongs_to(branch::Entity)
        .from(of)
        .to(branch::Column::Id)
        .into();
    let row = found
        .join(JoinType::InnerJoin, branch_of)
        .select_also(branch::Entity)
        .one(connection)
        .await?;
    if let Some((row, Some(branch))) = row {
        return Ok((row, branch));
    }
    get(connection, branch).await?;
    Err(Error::not_found(absent()))
}
