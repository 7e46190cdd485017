//! The finished visits that estimates learn from.

use std::collections::BTreeMap;

use chrono::TimeDelta;
use forenoon_desk::clock::DayClock;
use forenoon_desk::lessons::PastVisit;
use forenoon_store::entity::visit;
use forenoon_store::sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect,
};
use forenoon_store::value::VisitState;

use super::day::{jobs_by_id, sites};
use crate::work::Error;

/// Work of longer ago says little about a site that grows and is grown over.
const LOOKED_BACK: TimeDelta = TimeDelta::days(400);
/// Most visits looked at, the latest first: a bound on memory and time.
const VISITS_MAX: u64 = 4_000;

/// Visits finished before the day, the latest first.
///
/// # Errors
/// Those of the database.
pub(crate) async fn visits(
    connection: &impl ConnectionTrait,
    branch: &str,
    clock: &DayClock,
) -> Result<Vec<PastVisit>, Error> {
    let day = clock.instant(0);
    let visits = visit::Entity::find()
        .filter(visit::Column::BranchId.eq(branch))
        .filter(visit::Column::StartTime.gte(day - LOOKED_BACK))
        .filter(visit::Column::StartTime.lt(day))
        .filter(visit::Column::State.eq(VisitState::Done))
        .order_by_desc(visit::Column::StartTime)
        .order_by_asc(visit::Column::JobId)
        .limit(VISITS_MAX)
        .all(connection)
        .await?;
    past_of(connection, branch, visits).await
}

/// Visits with what they were for, in their order.
///
/// # Errors
/// Those of the database.
pub(crate) async fn past_of(
    connection: &impl ConnectionTrait,
    branch: &str,
    visits: Vec<visit::Model>,
) -> Result<Vec<PastVisit>, Error> {
    let ids = visits.iter().map(|visit| visit.job_id.clone()).collect();
    let jobs = jobs_by_id(connection, branch, ids).await?;
    let site_ids = jobs.iter().map(|job| job.site_id.clone()).collect();
    let sites = sites(connection, branch, site_ids).await?;
    let jobs: BTreeMap<_, _> = jobs.into_iter().map(|job| (job.id.clone(), job)).collect();
    Ok(visits
        .into_iter()
        .filter_map(|visit| {
            let job = jobs.get(&visit.job_id)?.clone();
            let site = sites.get(&job.site_id)?.clone();
            Some(PastVisit { visit, job, site })
        })
        .collect())
}
