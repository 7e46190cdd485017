//! How a day stands at one moment.

use chrono::NaiveDate;
use forenoon_desk::StoredPlan;
use forenoon_store::Database;
use forenoon_store::entity::{crew_load, tag_out, unit, visit};
use forenoon_store::sea_orm::{ColumnTrait, EntityTrait, QueryFilter};
use forenoon_store::value::UnitSystem;

use super::event::last_row;
use super::watch::Place;
use crate::work::tag_out::open_tags;
use crate::work::{Error, branch as branches, plan as plans, visit as visits};

/// How a day stands.
#[derive(Clone, Debug)]
pub struct Snapshot {
    /// The last event that it knows of.
    pub place: Place,
    /// The branch's way of writing figures.
    pub unit_system: UnitSystem,
    /// The published plan, if there is one.
    pub plan: Option<StoredPlan>,
    /// The day's visits.
    pub visits: Vec<visit::Model>,
    /// What crews have loaded.
    pub loads: Vec<crew_load::Model>,
    /// The branch's open tag-outs.
    pub tag_outs: Vec<TaggedOut>,
}

/// A tag-out with the unit's name.
#[derive(Clone, Debug)]
pub struct TaggedOut {
    /// The tag-out.
    pub tag: tag_out::Model,
    /// The unit's name.
    pub unit_display_name: String,
}

/// Reads how a day stands, all of it at one moment.
///
/// # Errors
/// [`Error::NotFound`] where the branch is not there, and those of the database.
pub async fn snapshot(
    database: &Database,
    branch: &str,
    day: NaiveDate,
) -> Result<Snapshot, Error> {
    let transaction = database.begin_read().await?;
    let stored = branches::get(&transaction, branch).await?;
    let last = last_row(&transaction, branch).await?;
    let plan = plans::published(&transaction, branch, day).await?;
    let visits_of_day = visits::list(&transaction, branch, day).await?;
    let loads = visits::loads(&transaction, branch, day).await?;
    let tags = tag_out::Entity::find()
        .filter(tag_out::Column::BranchId.eq(branch))
        .filter(open_tags())
        .all(&transaction)
        .await?;
    let units: Vec<String> = tags.iter().map(|tag| tag.unit_id.clone()).collect();
    let units = unit::Entity::find()
        .filter(unit::Column::BranchId.eq(branch))
        .filter(unit::Column::Id.is_in(units))
        .all(&transaction)
        .await?;
    transaction.commit().await?;
    let mut tag_outs: Vec<TaggedOut> = tags
        .into_iter()
        .map(|tag| TaggedOut {
            unit_display_name: units
                .iter()
                .find(|unit| unit.id == tag.unit_id)
                .map_or_else(String::new, |unit| unit.display_name.clone()),
            tag,
        })
        .collect();
    tag_outs.sort_by_key(|tagged| tagged.tag.number);
    Ok(Snapshot {
        place: last.map_or(Place::START, |row| Place {
            seq: row.seq,
            at: row.at,
        }),
        unit_system: stored.unit_system,
        plan,
        visits: visits_of_day,
        loads,
        tag_outs,
    })
}
