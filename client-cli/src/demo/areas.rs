//! Areas, hazards and tasks in a few words each.

use forenoon_proto::v1::{Area, AreaKind, Capability, Hazard, Task, TaskKind};

use super::measure::{feet, square_feet};

pub(super) fn turf(id: &str, display_name: &str, size_square_feet: f64) -> Area {
    area(id, display_name, AreaKind::Turf, size_square_feet)
}

pub(super) fn brush(id: &str, display_name: &str, size_square_feet: f64) -> Area {
    area(id, display_name, AreaKind::Brush, size_square_feet)
}

pub(super) fn paved(id: &str, display_name: &str, size_square_feet: f64) -> Area {
    area(id, display_name, AreaKind::HardSurface, size_square_feet)
}

pub(super) fn bed(id: &str, display_name: &str, size_square_feet: f64, border_feet: f64) -> Area {
    Area {
        length: feet(border_feet),
        ..area(id, display_name, AreaKind::Bed, size_square_feet)
    }
}

pub(super) fn edge(id: &str, display_name: &str, length_feet: f64) -> Area {
    Area {
        surface: None,
        length: feet(length_feet),
        ..area(id, display_name, AreaKind::HardEdge, 0.0)
    }
}

fn area(id: &str, display_name: &str, kind: AreaKind, size_square_feet: f64) -> Area {
    Area {
        area_id: id.to_owned(),
        display_name: display_name.to_owned(),
        kind: kind.into(),
        surface: square_feet(size_square_feet),
        ..Area::default()
    }
}

pub(super) fn hazard(id: &str, area_id: &str, description: &str) -> Hazard {
    Hazard {
        hazard_id: id.to_owned(),
        description: description.to_owned(),
        location: None,
        area_id: area_id.to_owned(),
    }
}

/// A task whose id says what and where.
pub(super) fn task(kind: TaskKind, area_id: &str, capabilities: &[Capability]) -> Task {
    let word = match kind {
        TaskKind::Unspecified => "work",
        TaskKind::WalkBefore => "walk-before",
        TaskKind::KnockDown => "knock-down",
        TaskKind::CutBrush => "cut-brush",
        TaskKind::Edge => "edge",
        TaskKind::Trim => "trim",
        TaskKind::Mow => "mow",
        TaskKind::SecondPass => "second-pass",
        TaskKind::Collect => "collect",
        TaskKind::BlowOff => "blow-off",
        TaskKind::WalkAfter => "walk-after",
    };
    let task_id = if area_id.is_empty() {
        word.to_owned()
    } else {
        format!("{word}-{area_id}")
    };
    Task {
        task_id,
        kind: kind.into(),
        area_id: area_id.to_owned(),
        capabilities: capabilities
            .iter()
            .map(|&capability| capability.into())
            .collect(),
        ..Task::default()
    }
}
