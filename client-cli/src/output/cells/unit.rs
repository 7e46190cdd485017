//! Units.

use forenoon_proto::v1::{Capability, Unit, UnitKind, UnitState};

use super::{Cells, amount, flag, number, words};
use crate::names::id;
use crate::output::clock::Clock;
use crate::output::grid::Grid;
use crate::output::measure::{length, volume};
use crate::parse::word::word_of;

/// A unit as cells. Its state comes last; it is not set by hand.
pub fn unit(unit: &Unit, clock: Clock) -> Cells {
    let mut absences = Grid::new(&["start_time", "end_time", "reason"]);
    for absence in &unit.absences {
        absences.row([
            clock.plain(absence.start_time.as_ref()),
            clock.plain(absence.end_time.as_ref()),
            absence.reason.clone(),
        ]);
    }
    Cells {
        own: vec![
            ("unit_id", id(&unit.name).to_owned()),
            ("display_name", unit.display_name.clone()),
            ("serial_number", unit.serial_number.clone()),
            ("model", unit.model.clone()),
            ("kind", word_of::<UnitKind>(unit.kind)),
            ("capabilities", words::<Capability>(&unit.capabilities)),
            ("coupling", unit.coupling.clone()),
            ("cutting_width", length(unit.cutting_width.as_ref())),
            ("machine_width", length(unit.machine_width.as_ref())),
            ("max_slope_percent", number(unit.max_slope_percent)),
            ("load_space", volume(unit.load_space.as_ref())),
            ("carries", volume(unit.carries.as_ref())),
            ("bag", volume(unit.bag.as_ref())),
            ("purchase_price", amount(unit.purchase_price.as_ref())),
            ("run_hours", number(unit.run_hours)),
            (
                "service_interval_hours",
                number(unit.service_interval_hours),
            ),
            ("noise_dba", number(unit.noise_dba)),
            ("vibration", number(unit.vibration)),
            ("retired", flag(unit.retired)),
            ("state", word_of::<UnitState>(unit.state)),
            ("open_tag_out", id(&unit.open_tag_out).to_owned()),
        ],
        parts: vec![("absences", absences)],
    }
}

/// Units as rows.
pub fn list(units: &[Unit]) -> Grid {
    let mut grid = Grid::new(&[
        "unit", "name", "kind", "can", "coupling", "width", "serial", "state", "tag",
    ]);
    for unit in units {
        grid.row([
            id(&unit.name).to_owned(),
            unit.display_name.clone(),
            word_of::<UnitKind>(unit.kind),
            words::<Capability>(&unit.capabilities),
            unit.coupling.clone(),
            length(unit.cutting_width.as_ref()),
            unit.serial_number.clone(),
            word_of::<UnitState>(unit.state),
            id(&unit.open_tag_out).to_owned(),
        ]);
    }
    grid
}
