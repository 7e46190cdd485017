//! The bench queue.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use forenoon_desk::bench_queue::{OpenJob, Want, queue as ordered};
use forenoon_desk::hours::UnitHours;
use forenoon_store::entity::{job, tag_out, unit};
use forenoon_store::sea_orm::{ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder};
use forenoon_store::value::JobState;

use super::hours::{left, of_units};
use crate::work::plan::{clock, load, plans_at_work, sites};
use crate::work::tag_out::open_tags;
use crate::work::{Error, branch as branches};

/// A service is near when less than this share of its interval is left. Common practice, no source.
const NEAR_SHARE: f64 = 0.1;

/// A fit unit whose service is due or near.
#[derive(Clone, Debug, PartialEq)]
pub struct Due {
    /// The unit.
    pub unit: unit::Model,
    /// Effective hours left; negative when overdue.
    pub hours_left: f64,
}

/// The bench as it stands.
#[derive(Clone, Debug, PartialEq)]
pub struct Queue {
    /// Tagged units, the most wanted first: the want, the tag, the unit's name, effective hours since its service.
    pub items: Vec<(Want, tag_out::Model, String, f64)>,
    /// Units not on the bench whose service is due or near, the most overdue first.
    pub services_due: Vec<Due>,
}

/// The bench queue of a branch.
///
/// # Errors
/// [`Error::NotFound`] where the branch is not there, and those of the database.
pub async fn queue(
    connection: &impl ConnectionTrait,
    branch: &str,
    now: DateTime<Utc>,
) -> Result<Queue, Error> {
    let stored = branches::get(connection, branch).await?;
    let today = branches::local_day(&stored, now)?;
    let tags = tag_out::Entity::find()
        .filter(tag_out::Column::BranchId.eq(branch))
        .filter(open_tags())
        .order_by_asc(tag_out::Column::Number)
        .all(connection)
        .await?;
    let units = unit::Entity::find()
        .filter(unit::Column::BranchId.eq(branch))
        .filter(unit::Column::Retired.eq(false))
        .order_by_asc(unit::Column::Id)
        .all(connection)
        .await?;
    let at_work = plans_at_work(connection, &stored, now).await?;
    let rows = at_work.all(connection).await?;
    let mut plans = Vec::with_capacity(rows.len());
    for row in rows {
        plans.push(load(connection, branch, &row.id).await?);
    }
    let jobs = job::Entity::find()
        .filter(job::Column::BranchId.eq(branch))
        .filter(job::Column::State.eq(JobState::Open))
        .filter(job::Column::LastDay.gte(today))
        .all(connection)
        .await?;
    let there = jobs.iter().map(|job| job.site_id.clone()).collect();
    let sites = sites(connection, branch, there).await?;
    let mut open = Vec::with_capacity(jobs.len());
    for job in &jobs {
        let last = clock(&stored, job.last_day)?;
        open.push(OpenJob {
            job,
            site: sites.get(&job.site_id),
            until: last.instant(last.length()),
        });
    }
    let hours = of_units(connection, branch, &units).await?;
    let wants = ordered(now, &tags, &units, &plans, &open);
    Ok(Queue {
        services_due: services_due(&tags, &units, &hours),
        items: items(wants, tags, &units, &hours),
    })
}

fn items(
    wants: Vec<Want>,
    tags: Vec<tag_out::Model>,
    units: &[unit::Model],
    hours: &BTreeMap<String, UnitHours>,
) -> Vec<(Want, tag_out::Model, String, f64)> {
    let mut tags: BTreeMap<String, tag_out::Model> =
        tags.into_iter().map(|tag| (tag.id.clone(), tag)).collect();
    wants
        .into_iter()
        .filter_map(|want| {
            let tag = tags.remove(&want.tag_id)?;
            let name = units
                .iter()
                .find(|unit| unit.id == tag.unit_id)
                .map_or_else(|| tag.unit_id.clone(), |unit| unit.display_name.clone());
            let since = hours.get(&tag.unit_id).map_or(0.0, |hours| hours.since);
            Some((want, tag, name, since))
        })
        .collect()
}

fn services_due(
    tags: &[tag_out::Model],
    units: &[unit::Model],
    hours: &BTreeMap<String, UnitHours>,
) -> Vec<Due> {
    let mut due: Vec<Due> = units
        .iter()
        .filter(|unit| !tags.iter().any(|tag| tag.unit_id == unit.id))
        .filter_map(|unit| {
            let known = hours.get(&unit.id).copied().unwrap_or_default();
            let hours_left = left(unit, known)?;
            (hours_left <= unit.service_interval_hours * NEAR_SHARE).then(|| Due {
                unit: unit.clone(),
                hours_left,
            })
        })
        .collect();
    due.sort_by(|a, b| {
        a.hours_left
            .total_cmp(&b.hours_left)
            .then_with(|| a.unit.id.cmp(&b.unit.id))
    });
    due
}
