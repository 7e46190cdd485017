//! Draws a tag to print.

use forenoon_desk::paper_tag::{PaperTag, draw};
use forenoon_store::entity::{unit, worker};
use forenoon_store::sea_orm::{ConnectionTrait, EntityTrait};
use forenoon_store::value::TagOutState;

use super::{get, name};
use crate::work::{Error, ObstacleKind, branch as branches};

/// The tag as a drawing, SVG 1.1.
///
/// # Errors
/// [`Error::NotFound`] where it is not there, an obstacle where it is released, and those of the database.
pub async fn render(
    connection: &impl ConnectionTrait,
    branch: &str,
    id: &str,
) -> Result<String, Error> {
    let tag = get(connection, branch, id).await?;
    // What says that a unit must not be used is to hang on none that may be.
    if tag.state == TagOutState::Released {
        return Err(Error::obstacle(
            ObstacleKind::TagOutState,
            name(branch, id),
            "is released: no tag is to hang on the unit any more",
        ));
    }
    let stored = branches::get(connection, branch).await?;
    let zone = branches::zone(&stored)?;
    let unit = unit::Entity::find_by_id((branch.to_owned(), tag.unit_id.clone()))
        .one(connection)
        .await?
        .ok_or_else(|| Error::Internal(format!("tag {id} without its unit")))?;
    let finder = match &tag.found_by_id {
        Some(finder) => {
            worker::Entity::find_by_id((branch.to_owned(), finder.clone()))
                .one(connection)
                .await?
        }
        None => None,
    };
    let code = name(branch, id);
    draw(&PaperTag {
        company: &stored.display_name,
        zone,
        tag: &tag,
        unit: &unit,
        applied_by: finder.as_ref().map(|finder| finder.display_name.as_str()),
        code: &code,
    })
    .map_err(|error| Error::Internal(format!("the code of tag {id}: {error}")))
}
