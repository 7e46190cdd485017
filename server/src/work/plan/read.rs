//! Reads plans.

use std::collections::BTreeSet;
use std::sync::Arc;

use chrono::{DateTime, NaiveDate, Utc};
use forenoon_desk::StoredPlan;
use forenoon_store::entity::plan_draft::PlanParts;
use forenoon_store::entity::{
    plan, plan_crew_day, plan_draft, plan_load_out, plan_stop, plan_unplanned,
};
use forenoon_store::sea_orm::{
    ColumnTrait, Condition, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect,
};
use forenoon_store::value::PlanState;

use super::name;
use crate::work::{Error, ObstacleKind, branch as branches};

/// The plan's own row.
///
/// # Errors
/// [`Error::NotFound`] where it is not there.
pub async fn get(
    connection: &impl ConnectionTrait,
    branch: &str,
    id: &str,
) -> Result<plan::Model, Error> {
    plan::Entity::find_by_id((branch.to_owned(), id.to_owned()))
        .one(connection)
        .await?
        .ok_or_else(|| Error::not_found(name(branch, id)))
}

/// A plan with all its parts.
///
/// # Errors
/// [`Error::NotFound`] where it is not there.
pub async fn load(
    connection: &impl ConnectionTrait,
    branch: &str,
    id: &str,
) -> Result<StoredPlan, Error> {
    let plan = get(connection, branch, id).await?;
    with_parts(connection, plan).await
}

/// The published plan of a day, if there is one.
///
/// # Errors
/// Those of the database.
pub async fn published(
    connection: &impl ConnectionTrait,
    branch: &str,
    day: NaiveDate,
) -> Result<Option<StoredPlan>, Error> {
    match published_row(connection, branch, day).await? {
        Some(plan) => with_parts(connection, plan).await.map(Some),
        None => Ok(None),
    }
}

/// The own row of a day's published plan, if there is one.
///
/// # Errors
/// Those of the database.
pub(super) async fn published_row(
    connection: &impl ConnectionTrait,
    branch: &str,
    day: NaiveDate,
) -> Result<Option<plan::Model>, Error> {
    Ok(plan::Entity::find()
        .filter(plan::Column::BranchId.eq(branch))
        .filter(plan::Column::Day.eq(day))
        .filter(plan::Column::State.eq(PlanState::Published))
        .one(connection)
        .await?)
}

/// The jobs of a plan whose stops are rows: one that was published.
///
/// # Errors
/// Those of the database.
pub(super) async fn jobs_of(
    connection: &impl ConnectionTrait,
    branch: &str,
    plan: &str,
) -> Result<BTreeSet<String>, Error> {
    let jobs: Vec<String> = plan_stop::Entity::find()
        .filter(plan_stop::Column::BranchId.eq(branch))
        .filter(plan_stop::Column::PlanId.eq(plan))
        .select_only()
        .column(plan_stop::Column::JobId)
        .into_tuple()
        .all(connection)
        .await?;
    Ok(jobs.into_iter().collect())
}

/// The published plan in which the crew has the job at about that time: on the branch's day of `at`, or on the day
/// before for work past midnight.
///
/// # Errors
/// An obstacle where there is none.
pub async fn published_with(
    connection: &impl ConnectionTrait,
    branch: &str,
    job: &str,
    crew: &str,
    at: DateTime<Utc>,
) -> Result<StoredPlan, Error> {
    let stored = branches::get(connection, branch).await?;
    let today = branches::local_day(&stored, at)?;
    for day in [Some(today), today.pred_opt()].into_iter().flatten() {
        let plan = published(connection, branch, day).await?;
        let has_it = |plan: &StoredPlan| plan.stop_of(job).is_some_and(|stop| stop.crew_id == crew);
        if let Some(plan) = plan.filter(has_it) {
            return Ok(plan);
        }
    }
    Err(Error::obstacle(
        ObstacleKind::NotPlanned,
        format!("branches/{branch}/jobs/{job}"),
        format!("{crew} does not have it in the published plan of {today}"),
    ))
}

/// A draft's parts are a document, or rows where it was made by a version before there were documents. So are those of
/// one thrown away.
async fn with_parts(
    connection: &impl ConnectionTrait,
    plan: plan::Model,
) -> Result<StoredPlan, Error> {
    if matches!(plan.state, PlanState::Draft | PlanState::Discarded) {
        let key = (plan.branch_id.clone(), plan.id.clone());
        let draft = plan_draft::Entity::find_by_id(key).one(connection).await?;
        if let Some(draft) = draft {
            let parts = PlanParts::of_document(&draft.parts)
                .map_err(|error| Error::Internal(format!("a draft's document: {error}")))?;
            return Ok(StoredPlan {
                plan,
                parts: Arc::new(parts),
            });
        }
    }
    macro_rules! rows {
        ($module:ident by $($column:ident),+) => {
            $module::Entity::find()
                .filter($module::Column::BranchId.eq(plan.branch_id.as_str()))
                .filter($module::Column::PlanId.eq(plan.id.as_str()))
                $(.order_by_asc($module::Column::$column))+
                .all(connection)
                .await?
        };
    }
    let parts = PlanParts {
        crew_days: rows!(plan_crew_day by CrewId),
        load_outs: rows!(plan_load_out by UnitId, Spell),
        stops: rows!(plan_stop by CrewId, Position),
        unplanned: rows!(plan_unplanned by Position),
    };
    Ok(StoredPlan {
        plan,
        parts: Arc::new(parts),
    })
}

/// Which plans to list.
#[derive(Clone, Debug, Default)]
pub struct PlanFilter {
    /// Only this day's.
    pub day: Option<NaiveDate>,
    /// Only those in this state.
    pub state: Option<PlanState>,
}

/// At most `limit` plans of a branch, newest day first, newest revision first, from the first after `after`.
///
/// # Errors
/// Those of the database.
pub async fn list(
    connection: &impl ConnectionTrait,
    branch: &str,
    filter: &PlanFilter,
    after: Option<(NaiveDate, i32)>,
    limit: u64,
) -> Result<Vec<plan::Model>, Error> {
    let mut query = plan::Entity::find().filter(plan::Column::BranchId.eq(branch));
    if let Some(day) = filter.day {
        query = query.filter(plan::Column::Day.eq(day));
    }
    if let Some(state) = filter.state {
        query = query.filter(plan::Column::State.eq(state));
    }
    if let Some((day, revision)) = after {
        query = query.filter(
            Condition::any().add(plan::Column::Day.lt(day)).add(
                Condition::all()
                    .add(plan::Column::Day.eq(day))
                    .add(plan::Column::DayRevision.lt(revision)),
            ),
        );
    }
    Ok(query
        .order_by_desc(plan::Column::Day)
        .order_by_desc(plan::Column::DayRevision)
        .limit(limit)
        .all(connection)
        .await?)
}
