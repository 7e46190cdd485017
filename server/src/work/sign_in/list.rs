//! Lists the keys that were given out.

use forenoon_store::Database;
use forenoon_store::entity::access_key;
use forenoon_store::sea_orm::{EntityTrait, QueryOrder};

use crate::work::Error;

/// All keys, those that have ended too, the oldest first.
///
/// # Errors
/// Those of the database.
pub async fn list_keys(database: &Database) -> Result<Vec<access_key::Model>, Error> {
    Ok(access_key::Entity::find()
        .order_by_asc(access_key::Column::IssueTime)
        .order_by_asc(access_key::Column::Id)
        .all(database.read())
        .await?)
}
