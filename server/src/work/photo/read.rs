//! Reads photographs back.

use forenoon_store::entity::{photo, photo_part};
use forenoon_store::sea_orm::{ConnectionTrait, EntityTrait};

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
