//! Ends a key: a telephone is lost, or somebody leaves.

use chrono::{DateTime, Utc};
use forenoon_store::entity::access_key;
use forenoon_store::sea_orm::{ActiveModelTrait, DatabaseTransaction, EntityTrait, Set};
use forenoon_store::{Database, Write};

use super::KeyError;
use crate::work::Error;

/// Ends a key, and answers with it as it is then. One that has ended stays as it is.
///
/// # Errors
/// Where there is no such key, or the database's.
pub async fn end_key(
    database: &Database,
    id: &str,
    now: DateTime<Utc>,
) -> Result<access_key::Model, KeyError> {
    let ended = database.write_untold("", &End { id, now }).await?;
    ended.ok_or_else(|| KeyError::NoSuchKey(id.to_owned()))
}

struct End<'a> {
    id: &'a str,
    now: DateTime<Utc>,
}

impl Write for End<'_> {
    type Output = Option<access_key::Model>;
    type Error = Error;

    async fn run(
        &self,
        transaction: &DatabaseTransaction,
    ) -> Result<Option<access_key::Model>, Error> {
        let found = access_key::Entity::find_by_id(self.id)
            .one(transaction)
            .await?;
        let Some(row) = found else { return Ok(None) };
        if row.end_time.is_some() {
            return Ok(Some(row));
        }
        let mut change: access_key::ActiveModel = row.into();
        change.end_time = Set(Some(self.now));
        Ok(Some(change.update(transaction).await?))
    }
}
