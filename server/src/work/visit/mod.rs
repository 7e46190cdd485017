//! Visits: what crews report from the sites of a published day.

mod actuals;
mod drive;
mod ending;
mod load;
mod read;
mod record;
mod report;
mod walk;

pub(crate) use ending::end_undone;
pub use load::{ConfirmLoad, Loaded};
pub use read::{list, loads};
pub use record::{Stretch, pauses};
pub use report::{Finish, GivenUp, Report, Step};
pub use walk::RecordWalkthrough;

use chrono::{DateTime, TimeDelta, Utc};
use forenoon_store::entity::tag_out;
use forenoon_store::sea_orm::{ColumnTrait, DatabaseTransaction, EntityTrait, QueryFilter};

use super::tag_out::{holds_at, open_tags};
use super::{Error, Obstacle, ObstacleKind, Reason};

/// A report may run ahead of the server's clock by so much: phones differ.
const AHEAD_MAX: TimeDelta = TimeDelta::minutes(5);

/// The subject of a visit's events: the job.
fn subject(branch: &str, job: &str) -> String {
    format!("branches/{branch}/jobs/{job}")
}

/// The moment a report speaks of: the one given, or now.
pub(crate) fn moment(
    given: Option<DateTime<Utc>>,
    field: &str,
    now: DateTime<Utc>,
) -> Result<DateTime<Utc>, Error> {
    match given {
        Some(given) if given > now + AHEAD_MAX => Err(Error::violation(
            field,
            Reason::OutOfRange,
            "is in the future; check the clock of the device",
        )),
        Some(given) => Ok(given),
        None => Ok(now),
    }
}

/// An obstacle for each of these units that an open tag keeps in; for work that is told of afterwards, only where the tag did
/// when it began. `advice` says what to do.
async fn tagged(
    transaction: &DatabaseTransaction,
    branch: &str,
    units: Vec<String>,
    begun: Option<DateTime<Utc>>,
    advice: &str,
) -> Result<Vec<Obstacle>, Error> {
    let tags = tag_out::Entity::find()
        .filter(tag_out::Column::BranchId.eq(branch))
        .filter(open_tags())
        .filter(tag_out::Column::UnitId.is_in(units))
        .all(transaction)
        .await?;
    Ok(tags
        .into_iter()
        .filter(|tag| holds_at(tag, begun))
        .filter(|tag| !super::tag_out::may_go_out(tag.state, tag.severity))
        .map(|tag| Obstacle {
            kind: ObstacleKind::UnitTaggedOut,
            subject: format!("branches/{branch}/units/{}", tag.unit_id),
            description: format!("it is tagged out by {}; {advice}", tag.id),
        })
        .collect())
}
