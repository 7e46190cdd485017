//! What ties a unit to other units, to crews and to plans.

use chrono::{DateTime, Utc};
use forenoon_store::entity::{crew, plan, plan_load_out, unit};
use forenoon_store::sea_orm::{
    ColumnTrait, Condition, DatabaseTransaction, EntityTrait, QueryFilter, QueryOrder, QuerySelect,
    QueryTrait,
};
use forenoon_store::value::UnitKind;

use super::name;
use crate::work::{self, Error, Obstacle, ObstacleKind, Reason, Violation};

/// Plans that are named where they keep a unit from being retired.
const PLANS_MAX: u64 = 20;

/// What is wrong with the unit beside the other units of its branch: a serial number that is taken.
///
/// # Errors
/// Those of the database.
pub async fn check_references(
    transaction: &DatabaseTransaction,
    row: &unit::Model,
) -> Result<Vec<Violation>, Error> {
    let other = unit::Entity::find()
        .filter(unit::Column::BranchId.eq(row.branch_id.as_str()))
        .filter(unit::Column::SerialNumber.eq(row.serial_number.as_str()))
        .filter(unit::Column::Id.ne(row.id.as_str()))
        .one(transaction)
        .await?;
    Ok(other
        .into_iter()
        .map(|other| Violation {
            field: "unit.serial_number".to_owned(),
            reason: Reason::Duplicate,
            description: format!(
                "is the serial number of {} already; give the one on its plate",
                name(&other.branch_id, &other.id)
            ),
        })
        .collect())
}

/// What keeps a unit from becoming what `row` says: a crew that drives or tows it where it is retired
/// or no longer a vehicle or trailer, and a published plan from today on that has it aboard where it
/// is retired.
///
/// # Errors
/// Those of the database.
pub async fn ties_in_the_way(
    transaction: &DatabaseTransaction,
    row: &unit::Model,
    now: DateTime<Utc>,
) -> Result<Vec<Obstacle>, Error> {
    let mut found = crews(transaction, row).await?;
    if row.retired {
        found.extend(plans(transaction, row, now).await?);
    }
    Ok(found)
}

async fn crews(
    transaction: &DatabaseTransaction,
    row: &unit::Model,
) -> Result<Vec<Obstacle>, Error> {
    let crews = crew::Entity::find()
        .filter(crew::Column::BranchId.eq(row.branch_id.as_str()))
        .filter(
            Condition::any()
                .add(crew::Column::VehicleId.eq(row.id.as_str()))
                .add(crew::Column::TrailerId.eq(row.id.as_str())),
        )
        .order_by_asc(crew::Column::Id)
        .all(transaction)
        .await?;
    Ok(crews
        .into_iter()
        .filter_map(|crew| {
            let (needed, word) = if crew.vehicle_id.as_deref() == Some(row.id.as_str()) {
                (UnitKind::Vehicle, "vehicle")
            } else {
                (UnitKind::Trailer, "trailer")
            };
            (row.retired || row.kind != needed).then(|| Obstacle {
                kind: ObstacleKind::UnitOfCrew,
                subject: work::crew::name(&crew.branch_id, &crew.id),
                description: format!("has the unit as its {word}; give the crew another first"),
            })
        })
        .collect())
}

async fn plans(
    transaction: &DatabaseTransaction,
    row: &unit::Model,
    now: DateTime<Utc>,
) -> Result<Vec<Obstacle>, Error> {
    let branch = work::branch::get(transaction, &row.branch_id).await?;
    let published = work::plan::plans_at_work(transaction, &branch, now)
        .await?
        .select_only()
        .column(plan::Column::Id)
        .into_query();
    let aboard: Vec<String> = plan_load_out::Entity::find()
        .filter(plan_load_out::Column::BranchId.eq(row.branch_id.as_str()))
        .filter(plan_load_out::Column::UnitId.eq(row.id.as_str()))
        .filter(plan_load_out::Column::PlanId.in_subquery(published))
        .filter(plan_load_out::Column::Spell.eq(0))
        .select_only()
        .column(plan_load_out::Column::PlanId)
        .order_by_asc(plan_load_out::Column::PlanId)
        .limit(PLANS_MAX)
        .into_tuple()
        .all(transaction)
        .await?;
    Ok(aboard
        .into_iter()
        .map(|plan| Obstacle {
            kind: ObstacleKind::UnitAboard,
            subject: format!("branches/{}/plans/{plan}", row.branch_id),
            description: "has the unit aboard; publish a plan without it first".to_owned(),
        })
        .collect())
}
