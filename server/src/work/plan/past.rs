//! The finished visits that estimates learn from.

use std::collections::{BTreeMap, BTreeSet};

use chrono::TimeDelta;
use forenoon_desk::clock::DayClock;
use forenoon_desk::lessons::PastVisit;
use forenoon_store::entity::{plan, visit};
use forenoon_store::sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect,
};
use forenoon_store::value::{HeatForecast, VisitState};

use super::day::{IDS_PER_QUERY_MAX, jobs_by_id, sites};
use crate::work::Error;

/// Work of longer ago says little about a site that grows and is grown over.
const LOOKED_BACK: TimeDelta = TimeDelta::days(400);
/// Most visits looked at, the latest first: a bound on memory and time.
const VISITS_MAX: u64 = 4_000;

/// Visits finished before the day, the latest first. Those that did the rest of a job which an earlier visit had begun say
/// nothing of how long its tasks take.
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
    let begun = begun(connection, branch, &visits).await?;
    let whole = |visit: &visit::Model| {
        let first = begun.get(&visit.job_id);
        first.is_none_or(|first| visit.attempt <= *first)
    };
    let visits = visits.into_iter().filter(whole).collect();
    let mut past = past_of(connection, branch, visits).await?;
    let plans = past.iter().map(|one| one.visit.plan_id.clone()).collect();
    let heat = heat(connection, branch, plans).await?;
    for one in &mut past {
        one.heat = heat.get(&one.visit.plan_id).copied();
    }
    Ok(past)
}

/// The weather that plans were made for.
async fn heat(
    connection: &impl ConnectionTrait,
    branch: &str,
    plans: BTreeSet<String>,
) -> Result<BTreeMap<String, HeatForecast>, Error> {
    let plans: Vec<String> = plans.into_iter().collect();
    let mut known = BTreeMap::new();
    for ids in plans.chunks(IDS_PER_QUERY_MAX) {
        let some = plan::Entity::find()
            .filter(plan::Column::BranchId.eq(branch))
            .filter(plan::Column::Id.is_in(ids.to_vec()))
            .filter(plan::Column::Heat.is_not_null())
            .select_only()
            .column(plan::Column::Id)
            .column(plan::Column::Heat)
            .into_tuple::<(String, Option<HeatForecast>)>()
            .all(connection)
            .await?;
        known.extend(some.into_iter().filter_map(|(id, heat)| Some((id, heat?))));
    }
    Ok(known)
}

/// The first attempt in which somebody worked at each job that was visited more than once.
async fn begun(
    connection: &impl ConnectionTrait,
    branch: &str,
    visits: &[visit::Model],
) -> Result<BTreeMap<String, i32>, Error> {
    let again = visits.iter().filter(|visit| visit.attempt > 1);
    let jobs: BTreeSet<String> = again.map(|visit| visit.job_id.clone()).collect();
    let jobs: Vec<String> = jobs.into_iter().collect();
    let mut begun = BTreeMap::new();
    for ids in jobs.chunks(IDS_PER_QUERY_MAX) {
        let attempts: Vec<(String, i32)> = visit::Entity::find()
            .filter(visit::Column::BranchId.eq(branch))
            .filter(visit::Column::JobId.is_in(ids.to_vec()))
            .filter(visit::Column::StartTime.is_not_null())
            .order_by_desc(visit::Column::Attempt)
            .select_only()
            .column(visit::Column::JobId)
            .column(visit::Column::Attempt)
            .into_tuple()
            .all(connection)
            .await?;
        begun.extend(attempts);
    }
    Ok(begun)
}

/// Visits with what they were for, in their order, and not with the weather: only what is learned from asks for it.
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
            Some(PastVisit {
                visit,
                job,
                site,
                heat: None,
            })
        })
        .collect())
}
