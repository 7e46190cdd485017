//! The state of a site and the tasks of a job, between wire and domain.

use std::ops::RangeInclusive;

use forenoon_desk::trade_map;
use forenoon_proto::v1;
use forenoon_store::value::{Capability, SiteCondition, Task, TaskKind, UnitSystem};
use forenoon_trade::task::Method;

use crate::edge::checks::Checks;
use crate::edge::{capability, measure, task_kind};
use crate::work::Reason;

use super::word;

// The trade library's own bounds.
const TURF_HEIGHT_MILLIMETRES: RangeInclusive<f64> = 0.0..=4_000.0;
const SET_HEIGHT_MILLIMETRES: RangeInclusive<f64> = 5.0..=300.0;
const EDGE_OVERGROWTH_MILLIMETRES: RangeInclusive<f64> = 0.0..=1_000.0;
const STEM_MILLIMETRES: RangeInclusive<f64> = 0.0..=200.0;
/// A day.
const AGREED_MINUTES: RangeInclusive<f64> = 0.0..=1_440.0;
/// As many as the trade library composes.
const PASSES: RangeInclusive<i32> = 1..=12;

pub(super) fn condition_to_wire(condition: SiteCondition, system: UnitSystem) -> v1::SiteCondition {
    let SiteCondition {
        turf_height_millimetres,
        set_height_millimetres,
        turf_density,
        wet,
        edge_overgrowth_millimetres,
        stem_thickness_millimetres,
        heavy_debris,
        first_service,
    } = condition;
    let length = |millimetres: Option<f64>| {
        millimetres.map(|millimetres| measure::short_length(millimetres, system))
    };
    v1::SiteCondition {
        turf_height: length(turf_height_millimetres),
        set_height: length(set_height_millimetres),
        turf_density: turf_density
            .map_or(v1::TurfDensity::Unspecified, word::density_to_wire)
            .into(),
        wet,
        edge_overgrowth: length(edge_overgrowth_millimetres),
        stem_thickness: length(stem_thickness_millimetres),
        heavy_debris,
        first_service,
    }
}

pub(super) fn condition_from_wire(
    checks: &mut Checks,
    wire: v1::SiteCondition,
) -> Option<SiteCondition> {
    let v1::SiteCondition {
        turf_height,
        set_height,
        turf_density,
        wet,
        edge_overgrowth,
        stem_thickness,
        heavy_debris,
        first_service,
    } = wire;
    let turf_height =
        checks.length_millimetres("turf_height", turf_height, TURF_HEIGHT_MILLIMETRES);
    let set_height = checks.length_millimetres("set_height", set_height, SET_HEIGHT_MILLIMETRES);
    let density = checks.word("turf_density", turf_density, Some(None), |density| {
        word::density_from_wire(density).map(Some)
    });
    let edge_overgrowth = checks.length_millimetres(
        "edge_overgrowth",
        edge_overgrowth,
        EDGE_OVERGROWTH_MILLIMETRES,
    );
    let stem = checks.length_millimetres("stem_thickness", stem_thickness, STEM_MILLIMETRES);
    Some(SiteCondition {
        turf_height_millimetres: turf_height?,
        set_height_millimetres: set_height?,
        turf_density: density?,
        wet,
        edge_overgrowth_millimetres: edge_overgrowth?,
        stem_thickness_millimetres: stem?,
        heavy_debris,
        first_service,
    })
}

/// A task as the wire has it.
pub(super) fn task_to_wire(task: Task) -> v1::Task {
    let Task {
        task_id,
        kind,
        area_id,
        capabilities,
        passes,
        agreed_minutes,
        composed: _,
    } = task;
    v1::Task {
        task_id,
        kind: task_kind::to_wire(kind).into(),
        area_id: area_id.unwrap_or_default(),
        capabilities: capabilities
            .into_iter()
            .map(|one| capability::capability(one).into())
            .collect(),
        passes,
        agreed_minutes: agreed_minutes.unwrap_or_default(),
    }
}

pub(super) fn task_from_wire(checks: &mut Checks, wire: v1::Task) -> Option<Task> {
    let v1::Task {
        task_id,
        kind,
        area_id,
        capabilities,
        passes,
        agreed_minutes,
    } = wire;
    let task_id = checks.new_id("task_id", task_id);
    let kind = checks.word("kind", kind, None, task_kind::from_wire);
    let area_id = if area_id.is_empty() {
        Some(None)
    } else {
        checks.new_id("area_id", area_id).map(Some)
    };
    let capabilities = checks.capabilities("capabilities", capabilities);
    if let (Some(kind), Some(capabilities)) = (kind, &capabilities) {
        check_serves(checks, kind, capabilities);
    }
    let passes = checks.whole("passes", if passes == 0 { 1 } else { passes }, PASSES);
    let agreed_minutes = checks.number("agreed_minutes", agreed_minutes, AGREED_MINUTES);
    Some(Task {
        task_id: task_id?,
        kind: kind?,
        area_id: area_id?,
        capabilities: capabilities?,
        passes: passes?,
        agreed_minutes: agreed_minutes.map(|minutes| (minutes > 0.0).then_some(minutes))?,
        composed: false,
    })
}

/// Every capability named must be able to do the work; where none is, it must be work on foot.
fn check_serves(checks: &mut Checks, kind: TaskKind, capabilities: &[Capability]) {
    let trade = trade_map::task_kind(kind);
    if capabilities.is_empty() && !Method::OnFoot.can_do(trade) {
        let words = format!("is empty, and nobody can {trade} with bare hands; name what does it");
        checks.fault::<()>("capabilities", Reason::Required, words);
    }
    for (index, capability) in capabilities.iter().enumerate() {
        if trade_map::method(*capability).is_some_and(|method| method.can_do(trade)) {
            continue;
        }
        let word = capability::capability(*capability).as_str_name();
        checks.fault::<()>(
            &format!("capabilities[{index}]"),
            Reason::Conflict,
            format!("{word} does not do the work \"{trade}\"; leave it out"),
        );
    }
}
