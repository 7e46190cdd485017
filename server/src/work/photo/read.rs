//! Reads photographs back.

use std::collections::HashMap;

use forenoon_store::entity::{photo, photo_part, photo_subject};
use forenoon_store::sea_orm::{
    ColumnTrait, Condition, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect,
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
        .ok_or_else(|| Error::not_found(format!("the photograph {sha256} of branches/{branch}")))
}

/// At most `limit` photographs of some subjects, resource names, by subject and name, from the first after `after`.
///
/// # Errors
/// Those of the database.
pub async fn list(
    connection: &impl ConnectionTrait,
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
        .all(connection)
        .await?;
    let named = links.iter().map(|link| link.sha256.as_str());
    let photos: HashMap<String, photo::Model> = photo::Entity::find()
        .filter(photo::Column::BranchId.eq(branch))
        .filter(photo::Column::Sha256.is_in(named))
        .all(connection)
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

/// The bytes of a part of a photograph; none after the last.
///
/// # Errors
/// Those of the database.
pub async fn part(
    connection: &impl ConnectionTrait,
    branch: &str,
    sha256: &str,
    position: i32,
) -> Result<Option<Vec<u8>>, Error> {
    Ok(
        photo_part::Entity::find_by_id((branch.to_owned(), sha256.to_owned(), position))
            .one(connection)
            .await?
            .map(|part| part.bytes),
    )
}
