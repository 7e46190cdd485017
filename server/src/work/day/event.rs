//! An event with what it is about.

use chrono::{DateTime, NaiveDate, Utc};
use forenoon_desk::StoredPlan;
use forenoon_store::entity::{crew_load, outbox_event, plan, tag_out, unit, visit};
use forenoon_store::sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect,
};
use forenoon_store::value::UnitSystem;
use serde::de::DeserializeOwned;

use crate::work::{Error, branch as branches, plan as plans};

/// An event with what it is about.
#[derive(Clone, Debug)]
pub struct DayEvent {
    /// Its number within the branch.
    pub seq: i64,
    /// When it was accepted.
    pub at: DateTime<Utc>,
    /// What happened.
    pub kind: String,
    /// Resource name of what it happened to.
    pub subject: String,
    /// The day it belongs to; none for what belongs to the branch.
    pub day: Option<NaiveDate>,
    /// What it is like now, where that is told.
    pub state: DayState,
}

/// What a change left behind.
#[derive(Clone, Debug)]
pub enum DayState {
    /// Not told: who wants it reads it.
    Untold,
    /// A plan that was published, with the branch's way of writing figures.
    Plan(Box<StoredPlan>, UnitSystem),
    /// A visit.
    Visit(Box<visit::Model>),
    /// A tag-out with the unit's name.
    TagOut(Box<tag_out::Model>, String),
    /// What a crew has loaded.
    Load(crew_load::Model),
}

impl DayEvent {
    /// The event of a row. What it is about is as the event left it.
    pub(super) async fn of(
        connection: &impl ConnectionTrait,
        row: outbox_event::Model,
    ) -> Result<Self, Error> {
        let (day, state) = about(connection, &row).await?;
        Ok(Self {
            seq: row.seq,
            at: row.at,
            kind: row.kind,
            subject: row.subject,
            day,
            state,
        })
    }
}

/// At most `limit` events of a branch after the number `after`, in order.
pub(super) async fn rows_after(
    connection: &impl ConnectionTrait,
    branch: &str,
    after: i64,
    limit: u64,
) -> Result<Vec<outbox_event::Model>, Error> {
    Ok(outbox_event::Entity::find()
        .filter(outbox_event::Column::BranchId.eq(branch))
        .filter(outbox_event::Column::Seq.gt(after))
        .order_by_asc(outbox_event::Column::Seq)
        .limit(limit)
        .all(connection)
        .await?)
}

/// The last event of a branch, if there is any.
pub(super) async fn last_row(
    connection: &impl ConnectionTrait,
    branch: &str,
) -> Result<Option<outbox_event::Model>, Error> {
    Ok(outbox_event::Entity::find()
        .filter(outbox_event::Column::BranchId.eq(branch))
        .order_by_desc(outbox_event::Column::Seq)
        .one(connection)
        .await?)
}

async fn about(
    connection: &impl ConnectionTrait,
    row: &outbox_event::Model,
) -> Result<(Option<NaiveDate>, DayState), Error> {
    let topic = row.kind.split('.').next().unwrap_or_default();
    Ok(match topic {
        "plan" => match body::<plan::Model>(row) {
            Some(plan) => {
                let day = Some(plan.day);
                let state = if row.kind == "plan.published" {
                    published(connection, plan).await?
                } else {
                    DayState::Untold
                };
                (day, state)
            }
            None => (None, DayState::Untold),
        },
        "visit" | "walk" => match body::<visit::Model>(row) {
            Some(visit) => (
                day_of(connection, &visit.branch_id, &visit.plan_id).await?,
                DayState::Visit(Box::new(visit)),
            ),
            None => (None, DayState::Untold),
        },
        "load" => match body::<crew_load::Model>(row) {
            Some(load) => (
                day_of(connection, &load.branch_id, &load.plan_id).await?,
                DayState::Load(load),
            ),
            None => (None, DayState::Untold),
        },
        "tag_out" => match body::<tag_out::Model>(row) {
            Some(tag) => {
                let name = unit_name(connection, &tag).await?;
                (None, DayState::TagOut(Box::new(tag), name))
            }
            None => (None, DayState::Untold),
        },
        _ => (None, DayState::Untold),
    })
}

/// What an event carries; none where another version of the server wrote it otherwise.
fn body<R: DeserializeOwned>(row: &outbox_event::Model) -> Option<R> {
    serde_json::from_value(row.body.clone()).ok()
}

/// The plan as it was published: its rows never change after that. Untold where it is gone.
async fn published(
    connection: &impl ConnectionTrait,
    plan: plan::Model,
) -> Result<DayState, Error> {
    let branch = branches::get(connection, &plan.branch_id).await;
    let stored = plans::load(connection, &plan.branch_id, &plan.id).await;
    match (branch, stored) {
        (Ok(branch), Ok(stored)) => Ok(DayState::Plan(
            Box::new(StoredPlan { plan, ..stored }),
            branch.unit_system,
        )),
        (Err(Error::NotFound { .. }), _) | (_, Err(Error::NotFound { .. })) => Ok(DayState::Untold),
        (Err(error), _) | (_, Err(error)) => Err(error),
    }
}

async fn day_of(
    connection: &impl ConnectionTrait,
    branch: &str,
    plan: &str,
) -> Result<Option<NaiveDate>, Error> {
    Ok(
        plan::Entity::find_by_id((branch.to_owned(), plan.to_owned()))
            .one(connection)
            .await?
            .map(|plan| plan.day),
    )
}

async fn unit_name(
    connection: &impl ConnectionTrait,
    tag: &tag_out::Model,
) -> Result<String, Error> {
    let key = (tag.branch_id.clone(), tag.unit_id.clone());
    Ok(unit::Entity::find_by_id(key)
        .one(connection)
        .await?
        .map_or_else(String::new, |unit| unit.display_name))
}
