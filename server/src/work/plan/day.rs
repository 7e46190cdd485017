//! Gathers what a branch's day is planned from, in one read transaction.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use chrono::{DateTime, NaiveDate, Utc};
use forenoon_desk::clock::DayClock;
use forenoon_desk::drives::Drives;
use forenoon_desk::{DayInputs, StoredPlan};
use forenoon_store::entity::{
    branch, crew, crew_load, job, plan, site, tag_out, unit, visit, worker,
};
use forenoon_store::sea_orm::{
    ColumnTrait, Condition, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect,
};
use forenoon_store::value::{Disruptions, JobState, ProposalFacts};

use crate::work::tag_out::open_tags;
use crate::work::{Error, Reason, branch as branches};

/// Most ids of one query: the databases bound their variables.
pub(super) const IDS_PER_QUERY_MAX: usize = 1_000;

/// The branch's clock on a day.
///
/// # Errors
/// A violation on `day` where the calendar ends.
pub(crate) fn clock(branch: &branch::Model, day: NaiveDate) -> Result<DayClock, Error> {
    DayClock::new(branches::zone(branch)?, day)
        .ok_or_else(|| Error::violation("day", Reason::OutOfRange, "is beyond the calendar"))
}

/// Gathers the inputs of a day, with nothing learned. `base` is the published plan to go on from, and from when on things
/// may change.
///
/// # Errors
/// [`Error::NotFound`] where the branch is not there, and those of the database.
pub(crate) async fn inputs(
    connection: &impl ConnectionTrait,
    branch_id: &str,
    day: NaiveDate,
    base: Option<(StoredPlan, DateTime<Utc>)>,
) -> Result<DayInputs, Error> {
    let branch = branches::get(connection, branch_id).await?;
    let clock = clock(&branch, day)?;
    let wanted: Vec<String> = base
        .iter()
        .flat_map(|(plan, _)| &plan.parts.stops)
        .map(|stop| stop.job_id.clone())
        .collect();
    let jobs = jobs(connection, branch_id, day, &wanted).await?;
    // Crews may stand where no job of the day is any more.
    let stood_at = base.iter().flat_map(|(plan, _)| plan.sites());
    let site_ids = jobs.iter().map(|job| job.site_id.as_str());
    let site_ids = site_ids.chain(stood_at).map(str::to_owned).collect();
    let visited = jobs.iter().map(|job| &job.id).chain(&wanted);
    let visited: BTreeSet<&str> = visited.map(String::as_str).collect();
    let tags = tag_out::Entity::find()
        .filter(tag_out::Column::BranchId.eq(branch_id))
        .filter(open_tags())
        .all(connection)
        .await?;
    Ok(DayInputs {
        clock,
        crews: crew::Entity::find()
            .filter(crew::Column::BranchId.eq(branch_id))
            .order_by_asc(crew::Column::Id)
            .all(connection)
            .await?,
        workers: worker::Entity::find()
            .filter(worker::Column::BranchId.eq(branch_id))
            .order_by_asc(worker::Column::Id)
            .all(connection)
            .await?,
        units: unit::Entity::find()
            .filter(unit::Column::BranchId.eq(branch_id))
            .filter(unit::Column::Retired.eq(false))
            .order_by_asc(unit::Column::Id)
            .all(connection)
            .await?,
        tags: tags
            .into_iter()
            .map(|tag| (tag.unit_id.clone(), tag))
            .collect(),
        sites: sites(connection, branch_id, site_ids).await?,
        visits: visits(connection, branch_id, &clock, visited).await?,
        left_out: Vec::new(),
        not_before: None,
        lessons: Arc::default(),
        service_first: BTreeSet::new(),
        disruptions: Disruptions::default(),
        overruns: BTreeMap::new(),
        loads: loads(connection, branch_id, base.as_ref()).await?,
        out: Vec::new(),
        stranded: BTreeSet::new(),
        moved: BTreeMap::new(),
        continued: BTreeMap::new(),
        split: BTreeMap::new(),
        drives: Drives::default(),
        roads: None,
        heat: None,
        confidence_percent: base
            .as_ref()
            .map_or(0, |(base, _)| base.plan.totals.confidence_percent),
        meetings: false,
        jobs,
        base,
        branch,
    })
}

/// Open jobs whose windows reach the day, and the jobs the base plan has in whatever state, in order of id. Jobs that
/// were cancelled are gone.
async fn jobs(
    connection: &impl ConnectionTrait,
    branch: &str,
    day: NaiveDate,
    wanted: &[String],
) -> Result<Vec<job::Model>, Error> {
    let mut jobs: BTreeMap<String, job::Model> = job::Entity::find()
        .filter(job::Column::BranchId.eq(branch))
        .filter(job::Column::State.eq(JobState::Open))
        .filter(
            Condition::all()
                .add(job::Column::FirstDay.lte(day))
                .add(job::Column::LastDay.gte(day)),
        )
        .all(connection)
        .await?
        .into_iter()
        .map(|job| (job.id.clone(), job))
        .collect();
    let missing: Vec<String> = wanted
        .iter()
        .filter(|id| !jobs.contains_key(*id))
        .cloned()
        .collect();
    let more = jobs_by_id(connection, branch, missing).await?;
    jobs.extend(
        more.into_iter()
            .filter(|job| job.state != JobState::Cancelled)
            .map(|job| (job.id.clone(), job)),
    );
    Ok(jobs.into_values().collect())
}

/// The jobs of these ids that are there.
///
/// # Errors
/// Those of the database.
pub(crate) async fn jobs_by_id(
    connection: &impl ConnectionTrait,
    branch: &str,
    ids: Vec<String>,
) -> Result<Vec<job::Model>, Error> {
    let mut jobs = Vec::with_capacity(ids.len());
    for ids in ids.chunks(IDS_PER_QUERY_MAX) {
        jobs.extend(
            job::Entity::find()
                .filter(job::Column::BranchId.eq(branch))
                .filter(job::Column::Id.is_in(ids.to_vec()))
                .all(connection)
                .await?,
        );
    }
    Ok(jobs)
}

/// The sites of these ids that are there.
///
/// # Errors
/// Those of the database.
pub(crate) async fn sites(
    connection: &impl ConnectionTrait,
    branch: &str,
    mut ids: Vec<String>,
) -> Result<BTreeMap<String, site::Model>, Error> {
    ids.sort_unstable();
    ids.dedup();
    let mut sites = BTreeMap::new();
    for ids in ids.chunks(IDS_PER_QUERY_MAX) {
        let some = site::Entity::find()
            .filter(site::Column::BranchId.eq(branch))
            .filter(site::Column::Id.is_in(ids.to_vec()))
            .all(connection)
            .await?;
        sites.extend(some.into_iter().map(|site| (site.id.clone(), site)));
    }
    Ok(sites)
}

/// The last visit of the day to each job, whose work may go on past midnight. What was told of another day says nothing of
/// where crews are and what is done on this one.
async fn visits(
    connection: &impl ConnectionTrait,
    branch: &str,
    clock: &DayClock,
    jobs: BTreeSet<&str>,
) -> Result<BTreeMap<String, visit::Model>, Error> {
    let ids: Vec<&str> = jobs.into_iter().collect();
    let mut all = Vec::new();
    for ids in ids.chunks(IDS_PER_QUERY_MAX) {
        all.extend(
            visit::Entity::find()
                .filter(visit::Column::BranchId.eq(branch))
                .filter(visit::Column::JobId.is_in(ids.to_vec()))
                .order_by_asc(visit::Column::Attempt)
                .all(connection)
                .await?,
        );
    }
    let plans = all.iter().map(|visit| visit.plan_id.clone()).collect();
    let days = days_of(connection, branch, plans).await?;
    Ok(all
        .into_iter()
        .filter(|visit| days.get(&visit.plan_id) == Some(&clock.day()))
        .map(|visit| (visit.job_id.clone(), visit))
        .collect())
}

/// What crews have confirmed to have loaded: for the plan to go on from, and for the one before it, as a report may come late.
async fn loads(
    connection: &impl ConnectionTrait,
    branch: &str,
    base: Option<&(StoredPlan, DateTime<Utc>)>,
) -> Result<Vec<crew_load::Model>, Error> {
    let Some((base, _)) = base else {
        return Ok(Vec::new());
    };
    let plans = with_those_before(connection, &base.plan).await?;
    Ok(crew_load::Entity::find()
        .filter(crew_load::Column::BranchId.eq(branch))
        .filter(crew_load::Column::PlanId.is_in(plans))
        .order_by_asc(crew_load::Column::PlanId)
        .order_by_asc(crew_load::Column::CrewId)
        .all(connection)
        .await?)
}

/// A plan and those of its day that were published before it, one after the other: a crew may confirm by a sheet of long
/// before what it has loaded.
async fn with_those_before(
    connection: &impl ConnectionTrait,
    plan: &plan::Model,
) -> Result<Vec<String>, Error> {
    let earlier = |base: Option<String>, facts: Option<&ProposalFacts>| {
        base.or_else(|| facts.and_then(|facts| facts.published_then.clone()))
    };
    let mut plans = vec![plan.id.clone()];
    let mut before = earlier(plan.base_plan_id.clone(), plan.proposal.as_ref());
    while let Some(id) = before.filter(|id| !plans.contains(id)) {
        let row: Option<(Option<String>, Option<ProposalFacts>)> =
            plan::Entity::find_by_id((plan.branch_id.clone(), id.clone()))
                .select_only()
                .column(plan::Column::BasePlanId)
                .column(plan::Column::Proposal)
                .into_tuple()
                .one(connection)
                .await?;
        plans.push(id);
        before = row.and_then(|(base, facts)| earlier(base, facts.as_ref()));
    }
    Ok(plans)
}

/// The days of plans, by id. Of few: a day that is planned again and again has thousands.
///
/// # Errors
/// Those of the database.
pub(super) async fn days_of(
    connection: &impl ConnectionTrait,
    branch: &str,
    plans: BTreeSet<String>,
) -> Result<BTreeMap<String, NaiveDate>, Error> {
    let plans: Vec<String> = plans.into_iter().collect();
    let mut days = BTreeMap::new();
    for ids in plans.chunks(IDS_PER_QUERY_MAX) {
        let some: Vec<(String, NaiveDate)> = plan::Entity::find()
            .filter(plan::Column::BranchId.eq(branch))
            .filter(plan::Column::Id.is_in(ids.to_vec()))
            .select_only()
            .column(plan::Column::Id)
            .column(plan::Column::Day)
            .into_tuple()
            .all(connection)
            .await?;
        days.extend(some);
    }
    Ok(days)
}
