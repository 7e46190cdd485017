//! Units, between wire and domain.

use std::ops::RangeInclusive;

use chrono::DateTime;
use forenoon_proto::v1;
use forenoon_store::entity::{branch, unit};
use forenoon_store::value::{Absence, Absences, Capabilities, Capability, UnitSystem};

use crate::edge::checks::{Checked, Checks};
use crate::edge::mask::{Mask, updatable};
use crate::edge::name::in_branch;
use crate::edge::{capability, etag, measure, money, time};
use crate::work::unit::{UnitNow, UnitState};
use crate::work::{self, Error, Reason};

use super::kind;

/// 10 inches to 20 feet.
const CUTTING_WIDTH_MILLIMETRES: RangeInclusive<f64> = 254.0..=6_096.0;
/// Four inches to 20 feet: a tool carried through a gate, or the widest mower.
const MACHINE_WIDTH_MILLIMETRES: RangeInclusive<f64> = 100.0..=6_096.0;
/// Rise over run.
const SLOPE_PERCENT: RangeInclusive<f64> = 0.0..=200.0;
/// 200 cubic metres: more than the largest road trailer offers.
const LOAD_SPACE_LITRES: RangeInclusive<f64> = 0.0..=200_000.0;
/// What the trade library takes: from a small bag to the largest hopper.
const BAG_LITRES: RangeInclusive<f64> = 5.0..=5_000.0;
/// More than a century of hours.
const RUN_HOURS: RangeInclusive<f64> = 0.0..=1_000_000.0;
/// More than a decade of hours.
const SERVICE_INTERVAL_HOURS: RangeInclusive<f64> = 0.0..=100_000.0;
/// From a quiet room to more than ears stand.
const NOISE_DBA: RangeInclusive<f64> = 40.0..=140.0;
/// From what hands hardly feel to more than any tool shakes.
const METRES_PER_SECOND_SQUARED: RangeInclusive<f64> = 0.1..=100.0;
/// The most absences of a unit.
const ABSENCES_MAX: usize = 200;

updatable!(v1::Unit {
    display_name, serial_number, model, kind, capabilities, coupling, cutting_width, machine_width,
    max_slope_percent, load_space, carries, bag, purchase_price, run_hours, service_interval_hours,
    absences, retired, noise_dba, vibration,
} fixed {
    name, state, open_tag_out, etag, create_time, update_time,
});

/// The fields an update can name, and those it cannot.
pub(super) fn mask_fields() -> (&'static [&'static str], &'static [&'static str]) {
    (UPDATABLE, FIXED)
}

/// The unit as an update makes it: the fields the mask names, over the unit as it is.
pub(super) fn edited(
    before: &unit::Model,
    branch: &branch::Model,
    change: v1::Unit,
    mask: &Mask,
) -> Result<unit::Model, Error> {
    let now = UnitNow {
        unit: before.clone(),
        open_tag_out: None,
    };
    // SI goes out and comes in without a change, whatever the branch's units of measure.
    let mut merged = to_wire(now, UnitSystem::Si, &branch.currency_code);
    overlay(&mut merged, change, mask);
    let mut checks = Checks::new();
    let row = checks.within("unit", |checks| {
        from_wire(checks, branch, before.id.clone(), merged)
    });
    checks.finish(row)
}

/// A unit as the wire has it.
pub(super) fn to_wire(now: UnitNow, system: UnitSystem, currency_code: &str) -> v1::Unit {
    let state = state_to_wire(now.state());
    let UnitNow { unit, open_tag_out } = now;
    let etag = etag::of(&unit);
    let unit::Model {
        branch_id,
        id,
        display_name,
        serial_number,
        model,
        kind,
        capabilities,
        coupling,
        cutting_width_millimetres,
        machine_width_millimetres,
        max_slope_percent,
        load_space_litres,
        carries_litres,
        bag_litres,
        purchase_price_minor,
        run_hours,
        service_interval_hours,
        noise_dba,
        vibration_metres_per_second_squared,
        absences,
        retired,
        revision: _,
        create_time,
        update_time,
    } = unit;
    let width = |width: Option<f64>| width.map(|width| measure::short_length(width, system));
    // Zero litres and none given are stored alike; where a kind must say it, it is said.
    let litres =
        |litres: f64, said: bool| (said || litres > 0.0).then(|| measure::volume(litres, system));
    v1::Unit {
        name: work::unit::name(&branch_id, &id),
        display_name,
        serial_number,
        model,
        kind: kind::to_wire(kind).into(),
        capabilities: capabilities
            .0
            .into_iter()
            .map(|one| capability::capability(one).into())
            .collect(),
        coupling: coupling.unwrap_or_default(),
        cutting_width: width(cutting_width_millimetres),
        machine_width: width(machine_width_millimetres),
        max_slope_percent,
        load_space: litres(load_space_litres, false),
        carries: litres(carries_litres, kind::demands(kind).carries),
        bag: litres(bag_litres, false),
        purchase_price: purchase_price_minor.map(|price| money::money(price, currency_code)),
        run_hours,
        service_interval_hours,
        absences: absences.0.into_iter().map(absence_to_wire).collect(),
        retired,
        noise_dba,
        vibration: vibration_metres_per_second_squared,
        state: state.into(),
        open_tag_out: open_tag_out
            .map(|tag| in_branch(&branch_id, "tagOuts", &tag.id))
            .unwrap_or_default(),
        etag,
        create_time: Some(time::timestamp(create_time)),
        update_time: Some(time::timestamp(update_time)),
    }
}

fn state_to_wire(state: UnitState) -> v1::UnitState {
    match state {
        UnitState::Fit => v1::UnitState::Fit,
        UnitState::Limited => v1::UnitState::Limited,
        UnitState::TaggedOut => v1::UnitState::TaggedOut,
        UnitState::Retired => v1::UnitState::Retired,
    }
}

/// The state a list asks for.
pub(super) fn state_from_wire(state: v1::UnitState) -> Option<UnitState> {
    match state {
        v1::UnitState::Unspecified => None,
        v1::UnitState::Fit => Some(UnitState::Fit),
        v1::UnitState::Limited => Some(UnitState::Limited),
        v1::UnitState::TaggedOut => Some(UnitState::TaggedOut),
        v1::UnitState::Retired => Some(UnitState::Retired),
    }
}

fn absence_to_wire(absence: Absence) -> v1::Absence {
    let Absence {
        start_time,
        end_time,
        reason,
    } = absence;
    v1::Absence {
        start_time: Some(time::timestamp(start_time)),
        end_time: Some(time::timestamp(end_time)),
        reason,
    }
}

/// A row from the wire; its revision and times are for the use case to set.
pub(crate) fn from_wire(
    checks: &mut Checks,
    branch: &branch::Model,
    id: String,
    wire: v1::Unit,
) -> Option<unit::Model> {
    let v1::Unit {
        name: _,
        display_name,
        serial_number,
        model,
        kind,
        capabilities,
        coupling,
        cutting_width,
        machine_width,
        max_slope_percent,
        load_space,
        carries,
        bag,
        purchase_price,
        run_hours,
        service_interval_hours,
        absences,
        retired,
        noise_dba,
        vibration,
        state: _,
        open_tag_out: _,
        etag: _,
        create_time: _,
        update_time: _,
    } = wire;
    let display_name = checks.line("display_name", display_name, 1..=200);
    let serial_number = serial(checks, serial_number);
    let model = checks.line("model", model, 0..=200);
    let kind = checks.word("kind", kind, None, kind::from_wire);
    let capabilities = checks.capabilities("capabilities", capabilities);
    let coupling = if coupling.is_empty() {
        Some(None)
    } else {
        checks.label("coupling", coupling).map(Some)
    };
    let cutting_width =
        checks.length_millimetres("cutting_width", cutting_width, CUTTING_WIDTH_MILLIMETRES);
    let machine_width =
        checks.length_millimetres("machine_width", machine_width, MACHINE_WIDTH_MILLIMETRES);
    let max_slope_percent = checks.number("max_slope_percent", max_slope_percent, SLOPE_PERCENT);
    let load_space = checks.litres("load_space", load_space, LOAD_SPACE_LITRES);
    let carries = checks.litres("carries", carries, LOAD_SPACE_LITRES);
    let bag = bag_litres(checks, bag);
    if let Some(kind) = kind {
        let demands = kind::demands(kind);
        let given = coupling.as_ref().map(Option::is_some);
        demands.check(checks, "coupling", demands.coupling, given);
        let given = cutting_width.map(|width| width.is_some());
        demands.check(checks, "cutting_width", demands.cutting_width, given);
        let given = carries.map(|litres| litres.is_some());
        demands.check(checks, "carries", demands.carries, given);
        if let Some(capabilities) = &capabilities {
            demands.check_capabilities(checks, capabilities);
            check_bag(checks, capabilities, bag);
        }
    }
    let price = checks.money("purchase_price", purchase_price, &branch.currency_code);
    let run_hours = checks.number("run_hours", run_hours, RUN_HOURS);
    let service_interval_hours = checks.number(
        "service_interval_hours",
        service_interval_hours,
        SERVICE_INTERVAL_HOURS,
    );
    let noise_dba = known(checks, "noise_dba", noise_dba, NOISE_DBA);
    let vibration = known(checks, "vibration", vibration, METRES_PER_SECOND_SQUARED);
    let absences = checks.each("absences", absences, ABSENCES_MAX, absence_from_wire);
    Some(unit::Model {
        branch_id: branch.id.clone(),
        id,
        display_name: display_name?,
        serial_number: serial_number?,
        model: model?,
        kind: kind?,
        capabilities: Capabilities(capabilities?),
        coupling: coupling?,
        cutting_width_millimetres: cutting_width?,
        machine_width_millimetres: machine_width?,
        max_slope_percent: max_slope_percent?,
        load_space_litres: load_space?.unwrap_or(0.0),
        carries_litres: carries?.unwrap_or(0.0),
        bag_litres: bag?.unwrap_or(0.0),
        purchase_price_minor: price?,
        run_hours: run_hours?,
        service_interval_hours: service_interval_hours?,
        noise_dba: noise_dba?,
        vibration_metres_per_second_squared: vibration?,
        absences: Absences(absences?),
        retired,
        revision: 0,
        create_time: DateTime::UNIX_EPOCH,
        update_time: DateTime::UNIX_EPOCH,
    })
}

/// A figure within a range, or 0 where it is not known.
fn known(checks: &mut Checks, field: &str, value: f64, range: RangeInclusive<f64>) -> Option<f64> {
    if value == 0.0 {
        return Some(0.0);
    }
    checks.number(field, value, range)
}

/// A bag's volume within what estimates take, or 0 where there is none.
fn bag_litres(checks: &mut Checks, bag: Option<v1::Volume>) -> Checked<Option<f64>> {
    use v1::volume::Value;
    let is_none = matches!(
        bag.as_ref().and_then(|bag| bag.value),
        Some(Value::Litres(0.0) | Value::CubicFeet(0.0))
    );
    checks.litres("bag", bag.filter(|_| !is_none), BAG_LITRES)
}

/// A serial number; blanks around it would make one machine look like two.
fn serial(checks: &mut Checks, value: String) -> Option<String> {
    let value = checks.line("serial_number", value, 1..=100)?;
    if value.trim() != value {
        let words = "begins or ends with a blank; leave it out";
        return checks.fault("serial_number", Reason::Malformed, words);
    }
    Some(value)
}

fn check_bag(checks: &mut Checks, capabilities: &[Capability], bag: Checked<Option<f64>>) {
    let collects = capabilities.contains(&Capability::CollectingMower);
    if bag.flatten().is_some_and(|litres| litres > 0.0) && !collects {
        let words = "belongs to a collecting mower; leave it out, or say that it collects";
        checks.fault::<()>("bag", Reason::Conflict, words);
    }
}

fn absence_from_wire(checks: &mut Checks, wire: v1::Absence) -> Option<Absence> {
    let v1::Absence {
        start_time,
        end_time,
        reason,
    } = wire;
    let start = checks.required("start_time", start_time);
    let start = start.and_then(|start| checks.instant("start_time", start));
    let end = checks.required("end_time", end_time);
    let end = end.and_then(|end| checks.instant("end_time", end));
    let reason = checks.line("reason", reason, 0..=200);
    let (start_time, end_time) = start.zip(end)?;
    if end_time <= start_time {
        let words = "is not after the start; give a later one";
        return checks.fault("end_time", Reason::EndBeforeStart, words);
    }
    Some(Absence {
        start_time,
        end_time,
        reason: reason?,
    })
}
