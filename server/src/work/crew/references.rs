//! What ties a crew to units.

use forenoon_store::entity::crew;
use forenoon_store::sea_orm::{
    ColumnTrait, Condition, DatabaseTransaction, EntityTrait, QueryFilter, QueryOrder,
};
use forenoon_store::value::UnitKind;

use super::name;
use crate::work::{self, Error, Reason, Violation};

/// What is wrong with the units the crew refers to: each must be there, of its kind and in the fleet.
///
/// # Errors
/// Those of the database.
pub async fn check_references(
    transaction: &DatabaseTransaction,
    row: &crew::Model,
) -> Result<Vec<Violation>, Error> {
    let mut found = Vec::new();
    for (field, word, kind, id) in unit_fields(row) {
        let Some(id) = id else { continue };
        let unit_name = work::unit::name(&row.branch_id, id);
        let fault = match work::unit::find(transaction, &row.branch_id, id).await? {
            None => Some((
                Reason::UnknownReference,
                format!("{unit_name} is not there; name a {word} of the branch"),
            )),
            Some(unit) if unit.kind != kind => Some((
                Reason::Conflict,
                format!("{unit_name} is no {word}; name one of that kind"),
            )),
            Some(unit) if unit.retired => Some((
                Reason::Conflict,
                format!("{unit_name} is retired; name a {word} of the fleet"),
            )),
            Some(_) => None,
        };
        found.extend(fault.map(|(reason, description)| Violation {
            field: field.to_owned(),
            reason,
            description,
        }));
    }
    Ok(found)
}

/// What is wrong with the crew beside the other crews: a vehicle or trailer belongs to one of them.
///
/// Where several crews change at once, this is asked once all are written.
///
/// # Errors
/// Those of the database.
pub async fn check_shared_units(
    transaction: &DatabaseTransaction,
    row: &crew::Model,
) -> Result<Vec<Violation>, Error> {
    let mut found = Vec::new();
    for (field, word, _, id) in unit_fields(row) {
        let Some(id) = id else { continue };
        let other = crew::Entity::find()
            .filter(crew::Column::BranchId.eq(row.branch_id.as_str()))
            .filter(crew::Column::Id.ne(row.id.as_str()))
            .filter(
                Condition::any()
                    .add(crew::Column::VehicleId.eq(id))
                    .add(crew::Column::TrailerId.eq(id)),
            )
            .order_by_asc(crew::Column::Id)
            .one(transaction)
            .await?;
        found.extend(other.map(|other| Violation {
            field: field.to_owned(),
            reason: Reason::Duplicate,
            description: format!(
                "{} belongs to {} already; a {word} belongs to one crew",
                work::unit::name(&row.branch_id, id),
                name(&other.branch_id, &other.id)
            ),
        }));
    }
    Ok(found)
}

/// The fields that refer to units, each with the kind of unit it needs.
fn unit_fields(row: &crew::Model) -> [(&'static str, &'static str, UnitKind, Option<&str>); 2] {
    [
        (
            "crew.vehicle",
            "vehicle",
            UnitKind::Vehicle,
            row.vehicle_id.as_deref(),
        ),
        (
            "crew.trailer",
            "trailer",
            UnitKind::Trailer,
            row.trailer_id.as_deref(),
        ),
    ]
}
