//! Reads photographs back.

use std::collections::HashMap;

use forenoon_store::entity::{photo, photo_part, photo_subject};
use forenoon_store::sea_orm::{
    ColumnTrait, Condition, ConnectionTrait, DatabaseTransaction, EntityTrait, QueryFilter,
    QueryOrder, QuerySelect,
};

use crate::work::Error;

/// A photograph without its bytes.
///
/// # Errors
/// [`Error::NotFound`] where it is not there.
pub async fn get(
    connection: &impl ConnectionTrait,
    branch: &str,
    sha256: &str,
) -> Result<photo::Model, Error> {
    photo::Entity::find_by_id((branch.to_owned(), sha256.to_owned()))
        .one(connection)
        .await?
        .ok_or_else(|| missing(branch, sha256))
}

/// At most `limit` photographs of some subjects, resource names, by subject and name, from the first after `after`. Read
/// in one transaction, for a photograph that goes in between would make the page look like the last.
///
/// # Errors
/// Those of the database.
pub async fn list(
    transaction: &DatabaseTransaction,
    branch: &str,
    subjects: &[String],
    after: Option<(&str, &str)>,
    limit: u64,
) -> Result<Vec<(photo_subject::Model, photo::Model)>, Error> {
    let mut query = photo_subject::Entity::find()
        .filter(photo_subject::Column::BranchId.eq(branch))
        .filter(photo_subject::Column::Subject.is_in(subjects));
    if let Some((subject, sha256)) = after {
        query = query.filter(
            Condition::any()
                .add(photo_subject::Column::Subject.gt(subject))
                .add(
                    Condition::all()
                        .add(photo_subject::Column::Subject.eq(subject))
                        .add(photo_subject::Column::Sha256.gt(sha256)),
                ),
        );
    }
    let links = query
        .order_by_asc(photo_subject::Column::Subject)
        .order_by_asc(photo_subject::Column::Sha256)
        .limit(limit)
        .all(transaction)
        .await?;
    let named = links.iter().map(|link| link.sha256.as_str());
    let photos: HashMap<String, photo::Model> = photo::Entity::find()
        .filter(photo::Column::BranchId.eq(branch))
        .filter(photo::Column::Sha256.is_in(named))
        .all(transaction)
        .await?
        .into_iter()
        .map(|photo| (photo.sha256.clone(), photo))
        .collect();
    Ok(links
        .into_iter()
        .filter_map(|link| {
            let photo = photos.get(&link.sha256)?.clone();
            Some((link, photo))
        })
        .collect())
}

/// The bytes of a part of a photograph, of which the parts before have `read` bytes; none after the last.
///
/// # Errors
/// [`Error::NotFound`] where a part is missing, for the photograph has gone since it was found.
pub async fn part(
    connection: &impl ConnectionTrait,
    photo: &photo::Model,
    position: i32,
    read: usize,
) -> Result<Option<Vec<u8>>, Error> {
    if usize::try_from(photo.size_bytes).is_ok_and(|size| read >= size) {
        return Ok(None);
    }
    let key = (photo.branch_id.clone(), photo.sha256.clone(), position);
    photo_part::Entity::find_by_id(key)
        .one(connection)
        .await?
        .map(|part| Some(part.bytes))
        .ok_or_else(|| missing(&photo.branch_id, &photo.sha256))
}

fn missing(branch: &str, sha256: &str) -> Error {
    Error::not_found(format!("the photograph {sha256} of branches/{branch}"))
}
