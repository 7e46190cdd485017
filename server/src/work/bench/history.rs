//! A unit's history, and how reliable it is.

use chrono::TimeDelta;
use forenoon_store::entity::{tag_out, unit, unit_service};
use forenoon_store::sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect,
};
use forenoon_trade::units::Hours;
use forenoon_trade::wear::Record;

use super::hours::of_units;
use crate::work::Error;
use crate::work::tag_out::{TagOutFilter, list};

/// Most tag-outs and services told.
const TOLD_MAX: u64 = 1_000;
const SECONDS_PER_HOUR: f64 = 3_600.0;

/// A unit's history.
#[derive(Clone, Debug, PartialEq)]
pub struct History {
    /// The unit.
    pub unit: unit::Model,
    /// Its tag-outs, newest first.
    pub tags: Vec<tag_out::Model>,
    /// Its services, newest first.
    pub services: Vec<unit_service::Model>,
    /// Effective hours over its life.
    pub life_hours: f64,
    /// Effective hours since its last service.
    pub hours_since_service: f64,
    /// Failures: tags that take up no earlier one.
    pub failures: u32,
    /// Mean effective hours between failures, of work recorded here; none where it never failed, or no work is recorded.
    pub mean_hours_between_failures: Option<f64>,
    /// Mean time from tag to release; none where none was released.
    pub mean_time_to_repair: Option<TimeDelta>,
}

/// The history of a unit.
///
/// # Errors
/// [`Error::NotFound`] where it is not there, and those of the database.
pub async fn history(
    connection: &impl ConnectionTrait,
    branch: &str,
    id: &str,
) -> Result<History, Error> {
    let unit = unit::Entity::find_by_id((branch.to_owned(), id.to_owned()))
        .one(connection)
        .await?
        .ok_or_else(|| Error::not_found(format!("branches/{branch}/units/{id}")))?;
    let filter = TagOutFilter {
        open_only: false,
        unit: Some(id.to_owned()),
    };
    let tags = list(connection, branch, &filter, None, TOLD_MAX).await?;
    let services = unit_service::Entity::find()
        .filter(unit_service::Column::BranchId.eq(branch))
        .filter(unit_service::Column::UnitId.eq(id))
        .order_by_desc(unit_service::Column::ServiceTime)
        .order_by_desc(unit_service::Column::Id)
        .limit(TOLD_MAX)
        .all(connection)
        .await?;
    let hours = of_units(connection, branch, std::slice::from_ref(&unit))
        .await?
        .get(id)
        .copied()
        .unwrap_or_default();
    let failures = count(tags.iter().filter(|tag| tag.reopens_id.is_none()).count());
    let outages: Vec<TimeDelta> = tags
        .iter()
        .filter_map(|tag| Some(tag.release_time? - tag.create_time))
        .collect();
    let out: TimeDelta = outages.iter().sum();
    let record = Record {
        // Of the hours before its work was recorded here nobody knows how often it failed.
        operated: Hours::new((hours.life - unit.run_hours).max(0.0)),
        failures,
        out: Hours::new(out.num_milliseconds() as f64 / 1_000.0 / SECONDS_PER_HOUR),
        repairs: count(outages.len()),
    };
    // Figures out of the trade's bounds say nothing.
    let mean = |hours: Option<Hours>| hours.map(Hours::value);
    Ok(History {
        mean_hours_between_failures: record
            .between_failures()
            .ok()
            .and_then(mean)
            .filter(|mean| *mean > 0.0),
        mean_time_to_repair: record.to_repair().ok().and_then(mean).map(duration),
        unit,
        tags,
        services,
        life_hours: hours.life,
        hours_since_service: hours.since,
        failures,
    })
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "the trade bounds it to a million hours"
)]
fn duration(hours: f64) -> TimeDelta {
    TimeDelta::seconds((hours * SECONDS_PER_HOUR).round() as i64)
}

fn count(count: usize) -> u32 {
    u32::try_from(count).unwrap_or(u32::MAX)
}
