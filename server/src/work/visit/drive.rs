//! What keeps a crew from driving: a tagged truck or trailer moves no further, and nothing tagged leaves the yard.
//!
//! A crew that stands at a site works there with what it has, whatever becomes of its truck, which is not used then: a re-plan
//! has it finish where it stands as well (`desk/progress.rs`, `desk/stock.rs`), with what rides on a tagged trailer too, since
//! only elsewhere that is not at hand (`desk/whereabouts.rs`). So it is driving that is refused. A crew has driven for the first
//! that it tells of a visit, whatever that is, and for going on with one after it was elsewhere. A unit tagged out on the road
//! rides along, as in planning; in the yard it stays.

use chrono::{DateTime, NaiveDate, Utc};
use forenoon_store::entity::{crew, crew_load, job, plan_load_out, unit, visit};
use forenoon_store::sea_orm::{
    ColumnTrait, Condition, DatabaseTransaction, EntityTrait, QueryFilter, QueryOrder, QuerySelect,
};
use forenoon_store::value::UnitKind;

use super::ending::told_until;
use super::read::revisions;
use super::tagged;
use crate::work::plan::{get, load};
use crate::work::{Error, Obstacle};

/// A crew's way to a job, as a report tells of it.
pub(super) struct Drive<'a> {
    /// The visit as it was known before the report, of the crew that drives.
    pub(super) known: &'a visit::Model,
    /// The plan by which the crew goes, one that was published.
    pub(super) plan: &'a str,
    /// Where the job is.
    pub(super) site: &'a str,
    /// The instant of the report.
    pub(super) at: DateTime<Utc>,
    /// The same where it is told afterwards; none where it is so now.
    pub(super) begun: Option<DateTime<Utc>>,
}

impl Drive<'_> {
    /// Truck and trailer that must not move, where the crew drove with them. `advice` says what to do.
    pub(super) async fn obstacles(
        &self,
        transaction: &DatabaseTransaction,
        advice: &str,
    ) -> Result<Vec<Obstacle>, Error> {
        let carriers = self.carriers(transaction).await?;
        let branch = &self.known.branch_id;
        let found = tagged(transaction, branch, carriers, self.begun, advice).await?;
        // Where nothing is tagged, it is all one whether it drove.
        if found.is_empty() || !self.drives(transaction).await? {
            return Ok(Vec::new());
        }
        Ok(found)
    }

    /// What the crew would take out of the yard that must stay in: on its first way of the day.
    pub(super) async fn out_of_the_yard(
        &self,
        transaction: &DatabaseTransaction,
        advice: &str,
    ) -> Result<Vec<Obstacle>, Error> {
        let branch = &self.known.branch_id;
        let aboard = self.load_out(transaction).await?;
        let found = tagged(transaction, branch, aboard, self.begun, advice).await?;
        if found.is_empty() || is_on_its_way(self.known) {
            return Ok(Vec::new());
        }
        let day = get(transaction, branch, self.plan).await?.day;
        if !self.of_crew(transaction, day).await?.is_empty() {
            return Ok(Vec::new());
        }
        let plan = load(transaction, branch, self.plan).await?;
        let loaded = self.loaded(transaction, day).await?;
        let missing = |unit: &str| {
            let mut missing = loaded.iter().flat_map(|load| &load.missing_unit_ids.0);
            missing.any(|known| known == unit)
        };
        let crew = self.known.crew_id.as_str();
        let leaves = plan
            .load_out_of(crew)
            .filter(|unit| plan.leaves_with(crew, unit) && !missing(unit))
            .map(str::to_owned)
            .collect();
        tagged(transaction, branch, leaves, self.begun, advice).await
    }

    /// Vehicle and trailer on the crew's load-out; where the plan has it drive with none, the vehicle that is its own: a re-plan
    /// takes away what was tagged out, and leaves to the crew what it had begun.
    async fn carriers(&self, transaction: &DatabaseTransaction) -> Result<Vec<String>, Error> {
        let branch = self.known.branch_id.as_str();
        let carriers: Vec<(String, UnitKind)> = unit::Entity::find()
            .filter(unit::Column::BranchId.eq(branch))
            .filter(unit::Column::Id.is_in(self.load_out(transaction).await?))
            .filter(unit::Column::Kind.is_in([UnitKind::Vehicle, UnitKind::Trailer]))
            .select_only()
            .column(unit::Column::Id)
            .column(unit::Column::Kind)
            .into_tuple()
            .all(transaction)
            .await?;
        let drives_with_one = carriers.iter().any(|(_, kind)| *kind == UnitKind::Vehicle);
        let mut ids: Vec<String> = carriers.into_iter().map(|(id, _)| id).collect();
        if !drives_with_one {
            let key = (branch.to_owned(), self.known.crew_id.clone());
            let crew = crew::Entity::find_by_id(key).one(transaction).await?;
            ids.extend(crew.and_then(|crew| crew.vehicle_id));
        }
        Ok(ids)
    }

    /// Units on the crew's load-out.
    async fn load_out(&self, transaction: &DatabaseTransaction) -> Result<Vec<String>, Error> {
        Ok(plan_load_out::Entity::find()
            .filter(plan_load_out::Column::BranchId.eq(self.known.branch_id.as_str()))
            .filter(plan_load_out::Column::PlanId.eq(self.plan))
            .filter(plan_load_out::Column::CrewId.eq(self.known.crew_id.as_str()))
            .select_only()
            .column(plan_load_out::Column::UnitId)
            .into_tuple()
            .all(transaction)
            .await?)
    }

    /// Whether the crew drives for what it reports.
    async fn drives(&self, transaction: &DatabaseTransaction) -> Result<bool, Error> {
        let Some(since) = told_until(self.known).filter(|_| is_on_its_way(self.known)) else {
            return Ok(true);
        };
        let branch = self.known.branch_id.as_str();
        let day = get(transaction, branch, &self.known.plan_id).await?.day;
        let in_between =
            |at: Option<DateTime<Utc>>| at.is_some_and(|at| since <= at && at <= self.at);
        let elsewhere: Vec<String> = self
            .of_crew(transaction, day)
            .await?
            .into_iter()
            .filter(|visit| {
                in_between(visit.depart_time)
                    || in_between(visit.arrive_time)
                    || in_between(visit.start_time)
            })
            .map(|visit| visit.job_id)
            .collect();
        if elsewhere.is_empty() {
            return Ok(false);
        }
        // Two jobs at one place are walked between.
        let other_place = job::Entity::find()
            .filter(job::Column::BranchId.eq(branch))
            .filter(job::Column::Id.is_in(elsewhere))
            .filter(job::Column::SiteId.ne(self.site))
            .one(transaction)
            .await?;
        Ok(other_place.is_some())
    }

    /// What the crew has told of other jobs of the day.
    async fn of_crew(
        &self,
        transaction: &DatabaseTransaction,
        day: NaiveDate,
    ) -> Result<Vec<visit::Model>, Error> {
        let branch = self.known.branch_id.as_str();
        let told = Condition::any()
            .add(visit::Column::DepartTime.is_not_null())
            .add(visit::Column::ArriveTime.is_not_null())
            .add(visit::Column::StartTime.is_not_null());
        Ok(visit::Entity::find()
            .filter(visit::Column::BranchId.eq(branch))
            .filter(visit::Column::PlanId.is_in(revisions(transaction, branch, day).await?))
            .filter(visit::Column::CrewId.eq(self.known.crew_id.as_str()))
            .filter(visit::Column::JobId.ne(self.known.job_id.as_str()))
            .filter(told)
            .all(transaction)
            .await?)
    }

    /// What the crew confirmed last to have loaded on the day.
    async fn loaded(
        &self,
        transaction: &DatabaseTransaction,
        day: NaiveDate,
    ) -> Result<Option<crew_load::Model>, Error> {
        let branch = self.known.branch_id.as_str();
        Ok(crew_load::Entity::find()
            .filter(crew_load::Column::BranchId.eq(branch))
            .filter(crew_load::Column::PlanId.is_in(revisions(transaction, branch, day).await?))
            .filter(crew_load::Column::CrewId.eq(self.known.crew_id.as_str()))
            .order_by_desc(crew_load::Column::LoadTime)
            .one(transaction)
            .await?)
    }
}

/// Whether a crew has told of a visit that it set out for it, is there or has begun.
fn is_on_its_way(visit: &visit::Model) -> bool {
    visit.depart_time.is_some() || visit.arrive_time.is_some() || visit.start_time.is_some()
}
