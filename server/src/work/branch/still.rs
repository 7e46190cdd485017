//! Whether a branch is still what a request was read against.

use forenoon_store::entity::branch;
use forenoon_store::sea_orm::DatabaseTransaction;

use super::{get, name};
use crate::work::Error;

/// Refuses where the branch has gone, or has another currency or time zone than those that amounts
/// and local times were read in.
///
/// A request is read against the branch before its transaction begins; this closes the gap.
///
/// # Errors
/// [`Error::NotFound`] or [`Error::StaleEtag`] with the branch's name.
pub async fn refuse_moved(
    transaction: &DatabaseTransaction,
    seen: &branch::Model,
) -> Result<(), Error> {
    let present = get(transaction, &seen.id).await?;
    if present.currency_code == seen.currency_code && present.time_zone == seen.time_zone {
        return Ok(());
    }
    Err(Error::StaleEtag {
        name: name(&seen.id),
    })
}
