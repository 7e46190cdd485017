//! Jobs that another day's published plan still has to do.
//!
//! A job is done once: what crews go by on one day is not planned for another as well. It is free again where that plan
//! is replaced by one without it, where the crew gives it up there, and where its day passed without a report.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, NaiveDate, Utc};
use forenoon_desk::left_out::LeftOut;
use forenoon_desk::visit::is_given_up;
use forenoon_desk::{DayInputs, StoredPlan};
use forenoon_store::entity::{branch, plan, plan_stop, visit};
use forenoon_store::sea_orm::sea_query::Expr;
use forenoon_store::sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect,
};

use super::day::days_of;
use super::name;
use crate::work::{Error, branch as branches};

/// A stop of another day's published plan that is still to be done.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Elsewhere {
    /// The plan.
    pub(super) plan_id: String,
    /// Its day.
    pub(super) day: NaiveDate,
    /// The crew that has the job there.
    pub(super) crew_id: String,
}

/// Those of the jobs that published plans of other days than `day` still have to do, by job.
///
/// # Errors
/// Those of the database.
pub(super) async fn planned_elsewhere(
    connection: &impl ConnectionTrait,
    branch: &branch::Model,
    day: NaiveDate,
    now: DateTime<Utc>,
    jobs: &BTreeSet<&str>,
) -> Result<BTreeMap<String, Elsewhere>, Error> {
    let plans = other_plans(connection, branch, day, now).await?;
    if plans.is_empty() || jobs.is_empty() {
        return Ok(BTreeMap::new());
    }
    let stops: Vec<(String, String, String, DateTime<Utc>)> = plan_stop::Entity::find()
        .filter(plan_stop::Column::BranchId.eq(branch.id.as_str()))
        .filter(plan_stop::Column::PlanId.is_in(plans.keys()))
        .select_only()
        .column(plan_stop::Column::JobId)
        .column(plan_stop::Column::PlanId)
        .column(plan_stop::Column::CrewId)
        .column(plan_stop::Column::FinishTime)
        .order_by_asc(plan_stop::Column::PlanId)
        .into_tuple()
        .all(connection)
        .await?;
    let today = branches::local_day(branch, now)?;
    let mut found = BTreeMap::new();
    for (job, plan_id, crew_id, finish) in stops {
        let Some(&day) = plans.get(&plan_id) else {
            continue;
        };
        // Of the day before what goes on past midnight is still to be done.
        if !jobs.contains(job.as_str()) || (day < today && finish <= now) {
            continue;
        }
        let stop = Elsewhere {
            plan_id,
            day,
            crew_id,
        };
        found.entry(job).or_insert(stop);
    }
    let given_up = given_up(connection, &branch.id, &found).await?;
    found.retain(|job, _| !given_up.contains(job));
    Ok(found)
}

/// The published plans of other days, from the day before today on, whose work may go on past midnight.
async fn other_plans(
    connection: &impl ConnectionTrait,
    branch: &branch::Model,
    day: NaiveDate,
    now: DateTime<Utc>,
) -> Result<BTreeMap<String, NaiveDate>, Error> {
    let today = branches::local_day(branch, now)?;
    let plans: Vec<(String, NaiveDate)> = plan::Entity::find()
        .filter(plan::Column::BranchId.eq(branch.id.as_str()))
        // As it stands in the index of published plans: a day may have any number of drafts, and this reads none of them.
        .filter(Expr::cust("state = 'published'"))
        .filter(plan::Column::Day.gte(today.pred_opt().unwrap_or(today)))
        .filter(plan::Column::Day.ne(day))
        .select_only()
        .column(plan::Column::Id)
        .column(plan::Column::Day)
        .into_tuple()
        .all(connection)
        .await?;
    Ok(plans.into_iter().collect())
}

/// Those of the jobs that the crew which has them elsewhere gave up there.
async fn given_up(
    connection: &impl ConnectionTrait,
    branch: &str,
    found: &BTreeMap<String, Elsewhere>,
) -> Result<BTreeSet<String>, Error> {
    if found.is_empty() {
        return Ok(BTreeSet::new());
    }
    let visits = visit::Entity::find()
        .filter(visit::Column::BranchId.eq(branch))
        .filter(visit::Column::JobId.is_in(found.keys()))
        .order_by_asc(visit::Column::Attempt)
        .all(connection)
        .await?;
    let last: BTreeMap<&str, &visit::Model> = visits
        .iter()
        .map(|visit| (visit.job_id.as_str(), visit))
        .collect();
    let ended = |visit: &&&visit::Model| is_given_up(visit);
    let plans = last.values().filter(ended);
    let plans = plans.map(|visit| visit.plan_id.clone()).collect();
    let days = days_of(connection, branch, plans).await?;
    Ok(last
        .values()
        .filter(ended)
        .filter(|visit| {
            found.get(&visit.job_id).is_some_and(|stop| {
                stop.crew_id == visit.crew_id && days.get(&visit.plan_id) == Some(&stop.day)
            })
        })
        .map(|visit| visit.job_id.clone())
        .collect())
}

/// Takes the jobs that are done elsewhere out of what a day is planned from, and answers with them. What the plan gone on
/// from has stays: it is its day's.
///
/// # Errors
/// Those of the database.
pub(super) async fn leave_out(
    connection: &impl ConnectionTrait,
    inputs: &mut DayInputs,
    now: DateTime<Utc>,
) -> Result<Vec<LeftOut>, Error> {
    let base = inputs.base.as_ref().map(|(base, _)| base);
    let own = |job: &str| base.is_some_and(|base| base.stop_of(job).is_some());
    let jobs: BTreeSet<&str> = inputs
        .jobs
        .iter()
        .map(|job| job.id.as_str())
        .filter(|job| !own(job))
        .collect();
    let day = inputs.clock.day();
    let elsewhere = planned_elsewhere(connection, &inputs.branch, day, now, &jobs).await?;
    if elsewhere.is_empty() {
        return Ok(Vec::new());
    }
    let (out, left): (Vec<_>, Vec<_>) = std::mem::take(&mut inputs.jobs)
        .into_iter()
        .partition(|job| elsewhere.contains_key(&job.id));
    let base = inputs.base.as_ref().map(|(base, _)| base);
    let stood_at = base.into_iter().flat_map(StoredPlan::sites);
    let sites = left.iter().map(|job| job.site_id.as_str());
    let sites: BTreeSet<&str> = sites.chain(stood_at).collect();
    inputs.sites.retain(|id, _| sites.contains(id.as_str()));
    inputs.jobs = left;
    Ok(out
        .into_iter()
        .filter_map(|job| {
            let stop = elsewhere.get(&job.id)?;
            let plan = name(&inputs.branch.id, &stop.plan_id);
            let crew = crew_words(inputs, &stop.crew_id);
            Some(LeftOut::on_another_day(job, stop.day, crew, plan))
        })
        .collect())
}

/// A crew's name on screens.
pub(super) fn crew_words<'a>(inputs: &'a DayInputs, crew: &'a str) -> &'a str {
    let known = inputs.crews.iter().find(|known| known.id == crew);
    known.map_or(crew, |crew| crew.display_name.as_str())
}
