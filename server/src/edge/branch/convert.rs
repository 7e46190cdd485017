//! Branches, between wire and domain.

use chrono::DateTime;
use forenoon_proto::v1;
use forenoon_store::entity::branch;
use forenoon_store::value::{Place, PriceRule, TravelRule, UnitSystem};

use crate::edge::checks::Checks;
use crate::edge::mask::updatable;
use crate::edge::{etag, exposure, money, place, time};
use crate::work;

/// Road distance over great-circle distance, where nobody says: a common planning figure for towns,
/// common practice, no source.
const ROAD_FACTOR_DEFAULT: f64 = 1.3;
/// A truck with a trailer in a town, where nobody says; common practice, no source.
const KILOMETRES_PER_HOUR_DEFAULT: f64 = 40.0;

updatable!(v1::Branch {
    display_name, time_zone, currency_code, unit_system, yard, travel, price, exposure,
} fixed {
    name, etag, create_time, update_time,
});

/// The fields an update can name, and those it cannot.
pub(super) fn mask_fields() -> (&'static [&'static str], &'static [&'static str]) {
    (UPDATABLE, FIXED)
}

/// The branch as an update makes it: the fields the mask names, over the branch as it is.
pub(super) fn edited(
    before: &branch::Model,
    change: v1::Branch,
    mask: &crate::edge::mask::Mask,
) -> Result<branch::Model, work::Error> {
    let mut merged = to_wire(before.clone());
    overlay(&mut merged, change, mask);
    let mut checks = Checks::new();
    let row = checks.within("branch", |checks| {
        from_wire(checks, before.id.clone(), merged)
    });
    checks.finish(row)
}

/// A row as the wire has it.
pub(super) fn to_wire(row: branch::Model) -> v1::Branch {
    let etag = etag::of(&row);
    let branch::Model {
        id,
        display_name,
        time_zone,
        currency_code,
        unit_system,
        yard_latitude,
        yard_longitude,
        travel,
        price,
        exposure,
        revision: _,
        create_time,
        update_time,
    } = row;
    let unit_system = match unit_system {
        UnitSystem::Si => v1::UnitSystem::Si,
        UnitSystem::UsCustomary => v1::UnitSystem::UsCustomary,
    };
    v1::Branch {
        name: work::branch::name(&id),
        display_name,
        unit_system: unit_system.into(),
        yard: Some(place::lat_lng(Place {
            latitude: yard_latitude,
            longitude: yard_longitude,
        })),
        travel: Some(travel_to_wire(travel)),
        price: Some(price_to_wire(price, &currency_code)),
        exposure: Some(exposure::rule_to_wire(exposure)),
        time_zone,
        currency_code,
        etag,
        create_time: Some(time::timestamp(create_time)),
        update_time: Some(time::timestamp(update_time)),
    }
}

/// A row from the wire; its revision and times are for the use case to set.
pub(super) fn from_wire(
    checks: &mut Checks,
    id: String,
    wire: v1::Branch,
) -> Option<branch::Model> {
    let v1::Branch {
        name: _,
        display_name,
        time_zone,
        currency_code,
        unit_system,
        yard,
        travel,
        price,
        exposure,
        etag: _,
        create_time: _,
        update_time: _,
    } = wire;
    let display_name = checks.text("display_name", display_name, 1..=200);
    let time_zone = checks.time_zone("time_zone", time_zone);
    let currency_code = checks.currency("currency_code", currency_code);
    let unit_system =
        checks.word(
            "unit_system",
            unit_system,
            Some(UnitSystem::Si),
            |word| match word {
                v1::UnitSystem::Unspecified => None,
                v1::UnitSystem::Si => Some(UnitSystem::Si),
                v1::UnitSystem::UsCustomary => Some(UnitSystem::UsCustomary),
            },
        );
    let yard = checks.required_place("yard", yard);
    let travel = checks.within("travel", |checks| {
        travel_from_wire(checks, travel.unwrap_or_default())
    });
    let exposure = checks.within("exposure", |checks| {
        exposure::rule_from_wire(checks, exposure.unwrap_or_default())
    });
    // Amounts are judged by the currency; without one they cannot be.
    let currency_code = currency_code?;
    let price = checks.within("price", |checks| {
        price_from_wire(checks, price.unwrap_or_default(), &currency_code)
    });
    let yard = yard?;
    Some(branch::Model {
        id,
        display_name: display_name?,
        time_zone: time_zone?,
        currency_code,
        unit_system: unit_system?,
        yard_latitude: yard.latitude,
        yard_longitude: yard.longitude,
        travel: travel?,
        price: price?,
        exposure: exposure?,
        revision: 0,
        create_time: DateTime::UNIX_EPOCH,
        update_time: DateTime::UNIX_EPOCH,
    })
}

fn travel_to_wire(rule: TravelRule) -> v1::TravelRule {
    let TravelRule {
        road_factor,
        kilometres_per_hour,
        seconds_per_stop,
    } = rule;
    v1::TravelRule {
        road_factor,
        kilometres_per_hour,
        seconds_per_stop,
    }
}

fn travel_from_wire(checks: &mut Checks, wire: v1::TravelRule) -> Option<TravelRule> {
    let v1::TravelRule {
        road_factor,
        kilometres_per_hour,
        seconds_per_stop,
    } = wire;
    let road_factor = or_default(road_factor, ROAD_FACTOR_DEFAULT);
    let kilometres_per_hour = or_default(kilometres_per_hour, KILOMETRES_PER_HOUR_DEFAULT);
    let road_factor = checks.number("road_factor", road_factor, 1.0..=5.0);
    let kilometres_per_hour =
        checks.number("kilometres_per_hour", kilometres_per_hour, 5.0..=130.0);
    let seconds_per_stop = checks.whole("seconds_per_stop", seconds_per_stop, 0..=3_600);
    Some(TravelRule {
        road_factor: road_factor?,
        kilometres_per_hour: kilometres_per_hour?,
        seconds_per_stop: seconds_per_stop?,
    })
}

fn or_default(value: f64, default: f64) -> f64 {
    if value == 0.0 { default } else { value }
}

fn price_to_wire(rule: PriceRule, currency_code: &str) -> v1::PriceRule {
    let PriceRule {
        labour_per_hour_minor,
        overhead_basis_points,
        margin_basis_points,
        minimum_charge_minor,
        disposal_per_bag_minor,
    } = rule;
    let amount = |minor: Option<i64>| minor.map(|minor| money::money(minor, currency_code));
    v1::PriceRule {
        labour_per_hour: amount(labour_per_hour_minor),
        overhead_basis_points,
        margin_basis_points,
        minimum_charge: amount(minimum_charge_minor),
        disposal_per_bag: amount(disposal_per_bag_minor),
    }
}

fn price_from_wire(
    checks: &mut Checks,
    wire: v1::PriceRule,
    currency_code: &str,
) -> Option<PriceRule> {
    let v1::PriceRule {
        labour_per_hour,
        overhead_basis_points,
        margin_basis_points,
        minimum_charge,
        disposal_per_bag,
    } = wire;
    let labour_per_hour = checks.wage("labour_per_hour", labour_per_hour, currency_code);
    let overhead = checks.whole("overhead_basis_points", overhead_basis_points, 0..=100_000);
    let margin = checks.whole("margin_basis_points", margin_basis_points, 0..=9_900);
    let minimum_charge = checks.money("minimum_charge", minimum_charge, currency_code);
    let disposal_per_bag = checks.money("disposal_per_bag", disposal_per_bag, currency_code);
    Some(PriceRule {
        labour_per_hour_minor: labour_per_hour?,
        overhead_basis_points: overhead?,
        margin_basis_points: margin?,
        minimum_charge_minor: minimum_charge?,
        disposal_per_bag_minor: disposal_per_bag?,
    })
}
