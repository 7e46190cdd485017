//! Photographs: stored once by what their bytes are, inside the database.

mod forget;
mod kind;
mod read;
mod store;

pub(crate) use forget::{forget, unneeded};
pub use kind::what_it_is;
pub use read::{get, list, part};
pub use store::{StorePhoto, Subject};

use chrono::{DateTime, Utc};
use forenoon_store::entity::{photo, photo_subject};
use forenoon_store::sea_orm::{
    ColumnTrait, DatabaseTransaction, EntityTrait, QueryFilter, QuerySelect,
};

use super::{Error, Reason, Violation, row};

/// Most bytes of a photograph: 20 MiB. The schema says so too.
pub const BYTES_MAX: usize = 20 * 1024 * 1024;
/// Most bytes of a part, in the store and on the wire: 1 MiB.
pub const PART_BYTES_MAX: usize = 1024 * 1024;

/// Refuses photographs that are not stored. `field` is the request's list of them.
///
/// # Errors
/// A violation for each of them, and those of the database.
pub(crate) async fn refuse_unknown(
    transaction: &DatabaseTransaction,
    branch: &str,
    photos: &[String],
    field: &str,
) -> Result<(), Error> {
    let known: Vec<String> = photo::Entity::find()
        .filter(photo::Column::BranchId.eq(branch))
        .filter(photo::Column::Sha256.is_in(photos.to_vec()))
        .select_only()
        .column(photo::Column::Sha256)
        .into_tuple()
        .all(transaction)
        .await?;
    let faults: Vec<Violation> = photos
        .iter()
        .enumerate()
        .filter(|(_, sha256)| !known.contains(sha256))
        .map(|(ix, _)| Violation {
            field: format!("{field}[{ix}]"),
            reason: Reason::UnknownReference,
            description: "is no photograph of the branch; upload it first".to_owned(),
        })
        .collect();
    if faults.is_empty() {
        Ok(())
    } else {
        Err(Error::Invalid(faults))
    }
}

/// Notes that a photograph is of something; false where that is noted already. It stays as long as anything it is of.
///
/// # Errors
/// Those of the database.
pub(crate) async fn link(
    transaction: &DatabaseTransaction,
    branch: &str,
    subject: &str,
    sha256: &str,
    now: DateTime<Utc>,
) -> Result<bool, Error> {
    let key = (branch.to_owned(), subject.to_owned(), sha256.to_owned());
    let known = photo_subject::Entity::find_by_id(key)
        .one(transaction)
        .await?;
    if known.is_some() {
        return Ok(false);
    }
    let link = photo_subject::Model {
        branch_id: branch.to_owned(),
        subject: subject.to_owned(),
        sha256: sha256.to_owned(),
        create_time: now,
    };
    row::insert(transaction, &link).await?;
    Ok(true)
}
