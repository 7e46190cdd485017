//! What a unit costs, from its effective hours and its purchase price.

use forenoon_desk::upkeep::{HOURS_A_YEAR, Upkeep, upkeep};
use forenoon_store::entity::unit;
use forenoon_store::sea_orm::{ConnectionTrait, EntityTrait};

use super::hours::{left, of_units};
use crate::work::job::currency;
use crate::work::{Error, Reason, branch as branches};

/// What to reckon.
#[derive(Clone, Debug, PartialEq)]
pub struct UnitCost {
    /// The branch.
    pub branch: String,
    /// The unit.
    pub unit: String,
    /// Effective hours in a year; none for the usual ones.
    pub hours_a_year: Option<f64>,
    /// What its successor costs, minor units; none for its own price.
    pub successor_minor: Option<i64>,
}

/// What a unit costs, and how far its next service is.
#[derive(Clone, Debug, PartialEq)]
pub struct Costs {
    /// The figures.
    pub upkeep: Upkeep,
    /// Effective hours since its last service.
    pub hours_since_service: f64,
    /// Effective hours until its service is due; none where no interval is kept.
    pub service_left_hours: Option<f64>,
}

/// Reckons what a unit costs.
///
/// # Errors
/// [`Error::NotFound`] where it is not there, a violation where it has no purchase price or figures are out of bounds, and
/// those of the database.
pub async fn cost(connection: &impl ConnectionTrait, asked: &UnitCost) -> Result<Costs, Error> {
    let UnitCost {
        branch,
        unit: id,
        hours_a_year,
        successor_minor,
    } = asked;
    let stored = branches::get(connection, branch).await?;
    let unit = unit::Entity::find_by_id((branch.to_owned(), id.to_owned()))
        .one(connection)
        .await?
        .ok_or_else(|| Error::not_found(format!("branches/{branch}/units/{id}")))?;
    let price = unit.purchase_price_minor.filter(|minor| *minor > 0);
    let price = price.ok_or_else(|| {
        Error::violation(
            "unit",
            Reason::Required,
            "has no purchase price on record; set purchase_price",
        )
    })?;
    let hours = of_units(connection, branch, std::slice::from_ref(&unit))
        .await?
        .get(id)
        .copied()
        .unwrap_or_default();
    let upkeep = upkeep(
        price,
        *successor_minor,
        currency(&stored)?,
        hours.life,
        hours_a_year.unwrap_or(HOURS_A_YEAR),
    )
    .map_err(|fault| Error::violation("hours_a_year", Reason::OutOfRange, fault.to_string()))?;
    Ok(Costs {
        upkeep,
        hours_since_service: hours.since,
        service_left_hours: left(&unit, hours),
    })
}
