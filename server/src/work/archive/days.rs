//! What belongs to an old day, and whether it may go.

use std::collections::BTreeSet;

use chrono::NaiveDate;
use forenoon_store::entity::{job, plan, plan_stop, plan_unplanned, site_case, tag_out, visit};
use forenoon_store::sea_orm::sea_query::{Expr, ExprTrait as _};
use forenoon_store::sea_orm::{
    ColumnTrait, Condition, ConnectionTrait, DatabaseTransaction, EntityTrait, QueryFilter,
    QueryOrder, QuerySelect,
};
use forenoon_store::value::{JobState, VisitState};

use super::Month;
use crate::work::Error;
use crate::work::plan::jobs_by_id;
use crate::work::tag_out::open_tags;

/// Tables that name a plan, in the order in which their rows can go. Parts of plans go with these.
pub(super) const WITH_PLANS: [&str; 2] = ["visit", "crew_load"];
/// The parts of a plan.
pub(super) const PARTS: [&str; 5] = [
    "plan_draft",
    "plan_crew_day",
    "plan_load_out",
    "plan_stop",
    "plan_unplanned",
];

/// Ids of one query: the databases bound their variables.
pub(super) const IDS_PER_QUERY_MAX: usize = 500;
/// States in which nothing more happens to a job.
const CLOSED: [JobState; 2] = [JobState::Done, JobState::Cancelled];

/// What belongs to a day.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct DayRows {
    pub(super) day: NaiveDate,
    /// Its plans; stops, loads and visits go with them.
    pub(super) plans: Vec<String>,
    /// Jobs that these name.
    pub(super) named: BTreeSet<String>,
    /// Jobs that go: over, and named by nothing that stays.
    pub(super) going: BTreeSet<String>,
    /// Why the day stays for now, if it does.
    pub(super) held: Option<String>,
}

/// The first day that has a plan or a job that is over.
pub(super) async fn first_day(
    connection: &impl ConnectionTrait,
    branch: &str,
) -> Result<Option<NaiveDate>, Error> {
    let planned = plan::Entity::find()
        .filter(plan::Column::BranchId.eq(branch))
        .order_by_asc(plan::Column::Day)
        .one(connection)
        .await?
        .map(|plan| plan.day);
    let mut days: Vec<NaiveDate> = planned.into_iter().collect();
    for state in CLOSED {
        let first = job::Entity::find()
            .filter(job::Column::BranchId.eq(branch))
            .filter(job::Column::State.eq(state))
            .order_by_asc(job::Column::LastDay)
            .one(connection)
            .await?;
        days.extend(first.map(|job| job.last_day));
    }
    Ok(days.into_iter().min())
}

/// Days from one to before another that have a plan or a job that is over.
pub(super) async fn days_between(
    transaction: &DatabaseTransaction,
    branch: &str,
    first: NaiveDate,
    end: NaiveDate,
) -> Result<BTreeSet<NaiveDate>, Error> {
    let mut days: BTreeSet<NaiveDate> = plan::Entity::find()
        .select_only()
        .column(plan::Column::Day)
        .distinct()
        .filter(plan::Column::BranchId.eq(branch))
        .filter(plan::Column::Day.gte(first))
        .filter(plan::Column::Day.lt(end))
        .into_tuple::<NaiveDate>()
        .all(transaction)
        .await?
        .into_iter()
        .collect();
    for state in CLOSED {
        let more: Vec<NaiveDate> = job::Entity::find()
            .select_only()
            .column(job::Column::LastDay)
            .distinct()
            .filter(job::Column::BranchId.eq(branch))
            .filter(job::Column::State.eq(state))
            .filter(job::Column::LastDay.gte(first))
            .filter(job::Column::LastDay.lt(end))
            .into_tuple()
            .all(transaction)
            .await?;
        days.extend(more);
    }
    Ok(days)
}

impl DayRows {
    /// Reads what belongs to a day of a month.
    pub(super) async fn read(
        transaction: &DatabaseTransaction,
        month: &Month,
        day: NaiveDate,
    ) -> Result<Self, Error> {
        let branch = month.branch.id.as_str();
        let plans: Vec<String> = plan::Entity::find()
            .select_only()
            .column(plan::Column::Id)
            .filter(plan::Column::BranchId.eq(branch))
            .filter(plan::Column::Day.eq(day))
            .into_tuple()
            .all(transaction)
            .await?;
        let visits = visit::Entity::find()
            .filter(visit::Column::BranchId.eq(branch))
            .filter(visit::Column::PlanId.is_in(plans.clone()))
            .all(transaction)
            .await?;
        let visited: BTreeSet<String> = visits.iter().map(|visit| visit.job_id.clone()).collect();
        let mut named = visited.clone();
        named.extend(
            plan_stop::Entity::find()
                .select_only()
                .column(plan_stop::Column::JobId)
                .filter(plan_stop::Column::BranchId.eq(branch))
                .filter(plan_stop::Column::PlanId.is_in(plans.clone()))
                .into_tuple::<String>()
                .all(transaction)
                .await?,
        );
        named.extend(
            plan_unplanned::Entity::find()
                .select_only()
                .column(plan_unplanned::Column::JobId)
                .filter(plan_unplanned::Column::BranchId.eq(branch))
                .filter(plan_unplanned::Column::PlanId.is_in(plans.clone()))
                .into_tuple::<String>()
                .all(transaction)
                .await?,
        );
        let mut rows = Self {
            day,
            plans,
            named,
            going: BTreeSet::new(),
            held: None,
        };
        let jobs = jobs_by_id(transaction, branch, rows.named.iter().cloned().collect()).await?;
        rows.held = rows.kept_back(transaction, month, &visits, &jobs).await?;
        rows.going = rows.over(transaction, month, jobs).await?;
        Ok(rows)
    }

    /// Whether there is nothing to take out.
    pub(super) fn is_empty(&self) -> bool {
        self.plans.is_empty() && self.going.is_empty()
    }

    /// Rows of the plans themselves.
    pub(super) fn of_plans(&self) -> Condition {
        Condition::all().add(plan::Column::Id.is_in(self.plans.clone()))
    }

    /// Rows that name a plan.
    pub(super) fn with_plans(&self) -> Condition {
        Condition::all().add(Expr::col("plan_id").is_in(self.plans.clone()))
    }

    async fn kept_back(
        &self,
        transaction: &DatabaseTransaction,
        month: &Month,
        visits: &[visit::Model],
        jobs: &[job::Model],
    ) -> Result<Option<String>, Error> {
        let branch = month.branch.id.as_str();
        for visit in visits {
            let over = matches!(visit.state, VisitState::Done | VisitState::NotDone)
                && visit.finish_time.is_some_and(|at| at <= month.settled);
            if !over {
                return Ok(Some(format!(
                    "the visit to job {} is not over",
                    visit.job_id
                )));
            }
            let job = jobs.iter().find(|job| job.id == visit.job_id);
            if job.is_none_or(|job| !CLOSED.contains(&job.state)) {
                return Ok(Some(format!(
                    "job {} was visited and is not over",
                    visit.job_id
                )));
            }
        }
        for chunk in chunks(&self.named) {
            let case = site_case::Entity::find()
                .filter(site_case::Column::BranchId.eq(branch))
                .filter(site_case::Column::JobId.is_in(chunk.clone()))
                .filter(site_case::Column::Closed.eq(false))
                .one(transaction)
                .await?;
            if let Some(case) = case {
                return Ok(Some(format!(
                    "case {} names job {} and is open",
                    case.id, case.job_id
                )));
            }
            let tag = tag_out::Entity::find()
                .filter(tag_out::Column::BranchId.eq(branch))
                .filter(tag_out::Column::JobId.is_in(chunk))
                .filter(open_tags())
                .one(transaction)
                .await?;
            if let Some(tag) = tag {
                return Ok(Some(format!(
                    "tag-out {} names a job of it and is open",
                    tag.id
                )));
            }
        }
        Ok(None)
    }

    /// Jobs that are over by the end of the day, and that nothing names once the day's plans have gone.
    async fn over(
        &self,
        transaction: &DatabaseTransaction,
        month: &Month,
        named: Vec<job::Model>,
    ) -> Result<BTreeSet<String>, Error> {
        let branch = month.branch.id.as_str();
        let mut jobs = named;
        for state in CLOSED {
            jobs.extend(
                job::Entity::find()
                    .filter(job::Column::BranchId.eq(branch))
                    .filter(job::Column::State.eq(state))
                    .filter(job::Column::LastDay.eq(self.day))
                    .all(transaction)
                    .await?,
            );
        }
        let mut over: BTreeSet<String> = jobs
            .into_iter()
            .filter(|job| {
                CLOSED.contains(&job.state)
                    && job.last_day <= self.day
                    && job.update_time <= month.settled
            })
            .map(|job| job.id)
            .collect();
        for chunk in chunks(&over.clone()) {
            for id in self.named_elsewhere(transaction, branch, &chunk).await? {
                over.remove(&id);
            }
        }
        Ok(over)
    }

    async fn named_elsewhere(
        &self,
        transaction: &DatabaseTransaction,
        branch: &str,
        jobs: &[String],
    ) -> Result<Vec<String>, Error> {
        let mut found = Vec::new();
        macro_rules! named {
            ($($module:ident.$column:ident $(but $plan:ident)?;)+) => {$(
                let query = $module::Entity::find()
                    .select_only()
                    .column($module::Column::$column)
                    .filter($module::Column::BranchId.eq(branch))
                    .filter($module::Column::$column.is_in(jobs.iter().cloned()));
                $(let query = query.filter($module::Column::$plan.is_not_in(self.plans.iter().cloned()));)?
                found.extend(query.into_tuple::<Option<String>>().all(transaction).await?);
            )+};
        }
        named! {
            plan_stop.JobId but PlanId;
            plan_unplanned.JobId but PlanId;
            visit.JobId but PlanId;
            site_case.JobId;
            site_case.ReturnJobId;
            tag_out.JobId;
        }
        Ok(found.into_iter().flatten().collect())
    }
}

/// Ids in lists that one query takes.
pub(super) fn chunks(ids: &BTreeSet<String>) -> Vec<Vec<String>> {
    let all: Vec<String> = ids.iter().cloned().collect();
    all.chunks(IDS_PER_QUERY_MAX)
        .map(<[String]>::to_vec)
        .collect()
}
