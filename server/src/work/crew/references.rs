//! What ties a crew to units.

use forenoon_store::entity::{crew, unit};
use forenoon_store::sea_orm::{
    ColumnTrait, Condition, DatabaseTransaction, EntityTrait, QueryFilter, QueryOrder,
};
use forenoon_store::value::UnitKind;

use super::name;
use crate::work::{self, Error, Reason, Violation};

/// A unit that a crew drives or tows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct UnitPart<'a> {
    /// The field that refers to it.
    field: &'static str,
    /// What it must be, in a word.
    word: &'static str,
    /// What it must be.
    kind: UnitKind,
    /// Its id.
    pub id: &'a str,
}

impl UnitPart<'_> {
    /// What is wrong with the unit: it must be there, of its kind and in the fleet.
    pub fn amiss(&self, branch: &str, unit: Option<&unit::Model>) -> Option<Violation> {
        let Self {
            field,
            word,
            kind,
            id,
        } = *self;
        let unit_name = work::unit::name(branch, id);
        let (reason, description) = match unit {
            None => (
                Reason::UnknownReference,
                format!("{unit_name} is not there; name a {word} of the branch"),
            ),
            Some(unit) if unit.kind != kind => (
                Reason::Conflict,
                format!("{unit_name} is no {word}; name one of that kind"),
            ),
            Some(unit) if unit.retired => (
                Reason::Conflict,
                format!("{unit_name} is retired; name a {word} of the fleet"),
            ),
            Some(_) => return None,
        };
        Some(Violation {
            field: field.to_owned(),
            reason,
            description,
        })
    }

    /// That the unit belongs to another crew.
    pub fn taken(&self, branch: &str, owner: &str) -> Violation {
        Violation {
            field: self.field.to_owned(),
            reason: Reason::Duplicate,
            description: format!(
                "{} belongs to {} already; a {} belongs to one crew",
                work::unit::name(branch, self.id),
                name(branch, owner),
                self.word
            ),
        }
    }
}

/// The units that a crew drives or tows.
pub fn unit_parts(row: &crew::Model) -> impl Iterator<Item = UnitPart<'_>> {
    let vehicle = row.vehicle_id.as_deref().map(|id| UnitPart {
        field: "crew.vehicle",
        word: "vehicle",
        kind: UnitKind::Vehicle,
        id,
    });
    let trailer = row.trailer_id.as_deref().map(|id| UnitPart {
        field: "crew.trailer",
        word: "trailer",
        kind: UnitKind::Trailer,
        id,
    });
    vehicle.into_iter().chain(trailer)
}

/// What is wrong with the units the crew refers to: each must be there, of its kind and in the fleet.
///
/// # Errors
/// Those of the database.
pub async fn check_references(
    transaction: &DatabaseTransaction,
    row: &crew::Model,
) -> Result<Vec<Violation>, Error> {
    let mut found = Vec::new();
    for part in unit_parts(row) {
        let unit = work::unit::find(transaction, &row.branch_id, part.id).await?;
        found.extend(part.amiss(&row.branch_id, unit.as_ref()));
    }
    Ok(found)
}

/// What is wrong with the crew beside the other crews: a vehicle or trailer belongs to one of them.
///
/// # Errors
/// Those of the database.
pub async fn check_shared_units(
    transaction: &DatabaseTransaction,
    row: &crew::Model,
) -> Result<Vec<Violation>, Error> {
    let mut found = Vec::new();
    for part in unit_parts(row) {
        let other = crew::Entity::find()
            .filter(crew::Column::BranchId.eq(row.branch_id.as_str()))
            .filter(crew::Column::Id.ne(row.id.as_str()))
            .filter(
                Condition::any()
                    .add(crew::Column::VehicleId.eq(part.id))
                    .add(crew::Column::TrailerId.eq(part.id)),
            )
            .order_by_asc(crew::Column::Id)
            .one(transaction)
            .await?;
        found.extend(other.map(|other| part.taken(&other.branch_id, &other.id)));
    }
    Ok(found)
}
