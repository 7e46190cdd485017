//! Areas and hazards of a site, between wire and domain.

use std::ops::RangeInclusive;

use forenoon_proto::v1;
use forenoon_store::value::{Area, AreaKind, AreaShape, Hazard, Obstacles, UnitSystem};

use crate::edge::checks::{Checked, Checks};
use crate::edge::{measure, place};
use crate::work::Reason;

/// A square foot to a thousand hectares: no bed is smaller, and no area worked as one is larger.
const SURFACE_SQUARE_METRES: RangeInclusive<f64> = 0.09..=10_000_000.0;
/// Four inches to a hundred kilometres, which is a county's road edges in one.
const LENGTH_METRES: RangeInclusive<f64> = 0.1..=100_000.0;
/// A gate that lets a tool through but no person, to one that is none.
const GATE_MILLIMETRES: RangeInclusive<f64> = 200.0..=30_000.0;
/// Rise over run; 200 is beyond what anything but a rope holds.
const SLOPE_PERCENT: RangeInclusive<f64> = 0.0..=200.0;

/// An area as the wire has it.
pub(super) fn to_wire(area: Area, system: UnitSystem) -> v1::Area {
    let Area {
        area_id,
        display_name,
        kind,
        surface_square_metres,
        length_metres,
        slope_percent,
        narrowest_gate_millimetres,
        obstacles,
        shape,
    } = area;
    v1::Area {
        area_id,
        display_name,
        kind: kind_to_wire(kind).into(),
        surface: surface_square_metres.map(|size| measure::surface(size, system)),
        length: length_metres.map(|length| measure::long_length(length, system)),
        slope_percent,
        narrowest_gate: narrowest_gate_millimetres
            .map(|width| measure::short_length(width, system)),
        obstacles: match obstacles {
            Obstacles::None => v1::Obstacles::None,
            Obstacles::Few => v1::Obstacles::Few,
            Obstacles::Many => v1::Obstacles::Many,
        }
        .into(),
        shape: match shape {
            AreaShape::Open => v1::AreaShape::Open,
            AreaShape::Ordinary => v1::AreaShape::Ordinary,
            AreaShape::Broken => v1::AreaShape::Broken,
        }
        .into(),
    }
}

/// An area from the wire.
pub(super) fn from_wire(checks: &mut Checks, wire: v1::Area) -> Option<Area> {
    let v1::Area {
        area_id,
        display_name,
        kind,
        surface,
        length,
        slope_percent,
        narrowest_gate,
        obstacles,
        shape,
    } = wire;
    let area_id = checks.new_id("area_id", area_id);
    let display_name = checks.line("display_name", display_name, 0..=200);
    let kind = checks.word("kind", kind, None, kind_from_wire);
    let surface = checks.square_metres("surface", surface, SURFACE_SQUARE_METRES);
    let length = checks.length_metres("length", length, LENGTH_METRES);
    if let Some(kind) = kind {
        check_sizes(checks, kind, surface, length);
    }
    let slope_percent = checks.number("slope_percent", slope_percent, SLOPE_PERCENT);
    let gate = checks.length_millimetres("narrowest_gate", narrowest_gate, GATE_MILLIMETRES);
    let obstacles = checks.word(
        "obstacles",
        obstacles,
        Some(Obstacles::Few),
        |word| match word {
            v1::Obstacles::Unspecified => None,
            v1::Obstacles::None => Some(Obstacles::None),
            v1::Obstacles::Few => Some(Obstacles::Few),
            v1::Obstacles::Many => Some(Obstacles::Many),
        },
    );
    let shape = checks.word(
        "shape",
        shape,
        Some(AreaShape::Ordinary),
        |word| match word {
            v1::AreaShape::Unspecified => None,
            v1::AreaShape::Open => Some(AreaShape::Open),
            v1::AreaShape::Ordinary => Some(AreaShape::Ordinary),
            v1::AreaShape::Broken => Some(AreaShape::Broken),
        },
    );
    Some(Area {
        area_id: area_id?,
        display_name: display_name?,
        kind: kind?,
        surface_square_metres: surface?,
        length_metres: length?,
        slope_percent: slope_percent?,
        narrowest_gate_millimetres: gate?,
        obstacles: obstacles?,
        shape: shape?,
    })
}

/// Which sizes an area of a kind has. What was given and is at fault itself is not told again as
/// missing.
fn check_sizes(
    checks: &mut Checks,
    kind: AreaKind,
    surface: Checked<Option<f64>>,
    length: Checked<Option<f64>>,
) {
    let (has_surface, may_have_length) = match kind {
        AreaKind::Turf | AreaKind::Brush | AreaKind::HardSurface => (true, false),
        AreaKind::Bed => (true, true),
        AreaKind::HardEdge => (false, true),
    };
    match surface {
        Some(None) if has_surface => {
            checks.required::<f64>("surface", None);
        }
        Some(Some(_)) if !has_surface => {
            let words = "a hard edge has a length and no surface; leave it out";
            checks.fault::<()>("surface", Reason::Conflict, words);
        }
        _ => {}
    }
    match length {
        Some(None) if kind == AreaKind::HardEdge => {
            checks.required::<f64>("length", None);
        }
        Some(Some(_)) if !may_have_length => {
            let words = "only hard edges and beds have a length; leave it out";
            checks.fault::<()>("length", Reason::Conflict, words);
        }
        _ => {}
    }
}

fn kind_to_wire(kind: AreaKind) -> v1::AreaKind {
    match kind {
        AreaKind::Turf => v1::AreaKind::Turf,
        AreaKind::HardEdge => v1::AreaKind::HardEdge,
        AreaKind::Brush => v1::AreaKind::Brush,
        AreaKind::Bed => v1::AreaKind::Bed,
        AreaKind::HardSurface => v1::AreaKind::HardSurface,
    }
}

fn kind_from_wire(kind: v1::AreaKind) -> Option<AreaKind> {
    match kind {
        v1::AreaKind::Unspecified => None,
        v1::AreaKind::Turf => Some(AreaKind::Turf),
        v1::AreaKind::HardEdge => Some(AreaKind::HardEdge),
        v1::AreaKind::Brush => Some(AreaKind::Brush),
        v1::AreaKind::Bed => Some(AreaKind::Bed),
        v1::AreaKind::HardSurface => Some(AreaKind::HardSurface),
    }
}

/// A hazard as the wire has it.
pub(super) fn hazard_to_wire(hazard: Hazard) -> v1::Hazard {
    let Hazard {
        hazard_id,
        description,
        place,
        area_id,
    } = hazard;
    v1::Hazard {
        hazard_id,
        description,
        location: place.map(place::lat_lng),
        area_id: area_id.unwrap_or_default(),
    }
}

/// A hazard from the wire; `areas` are the ids of the site's areas.
pub(super) fn hazard_from_wire(
    checks: &mut Checks,
    wire: v1::Hazard,
    areas: &[String],
) -> Option<Hazard> {
    let v1::Hazard {
        hazard_id,
        description,
        location,
        area_id,
    } = wire;
    let hazard_id = checks.new_id("hazard_id", hazard_id);
    let description = checks.text("description", description, 1..=500);
    let place = checks.land("location", location);
    if !area_id.is_empty() && !areas.contains(&area_id) {
        let words = "is no area of the site; name one of its areas, or none";
        checks.fault::<()>("area_id", Reason::UnknownReference, words);
    }
    Some(Hazard {
        hazard_id: hazard_id?,
        description: description?,
        place: place?,
        area_id: (!area_id.is_empty()).then_some(area_id),
    })
}
