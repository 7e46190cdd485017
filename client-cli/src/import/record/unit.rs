//! Units and their absences.

use forenoon_proto::v1::{Absence, Capability, Unit, UnitKind};

use super::super::Context;
use super::super::row::{Reader, some, text};
use super::{word, words};
use crate::parse::{self, flag, instant, measure, number};

/// Fills a unit.
pub fn unit(row: &mut Reader<'_>, context: &Context, unit: &mut Unit) {
    row.put("display_name", &mut unit.display_name, text);
    row.put("serial_number", &mut unit.serial_number, text);
    row.put("model", &mut unit.model, text);
    row.put("kind", &mut unit.kind, word::<UnitKind>);
    row.put("capabilities", &mut unit.capabilities, words::<Capability>);
    row.put("coupling", &mut unit.coupling, text);
    row.put(
        "cutting_width",
        &mut unit.cutting_width,
        some(measure::length),
    );
    row.put(
        "machine_width",
        &mut unit.machine_width,
        some(measure::length),
    );
    row.put("max_slope_percent", &mut unit.max_slope_percent, number);
    row.put("load_space", &mut unit.load_space, some(measure::volume));
    row.put("carries", &mut unit.carries, some(measure::volume));
    row.put("bag", &mut unit.bag, some(measure::volume));
    let price = |text: &str| parse::money::money(text, &context.currency);
    row.put("purchase_price", &mut unit.purchase_price, some(price));
    row.put("run_hours", &mut unit.run_hours, number);
    row.put(
        "service_interval_hours",
        &mut unit.service_interval_hours,
        number,
    );
    row.put("noise_dba", &mut unit.noise_dba, number);
    row.put("vibration", &mut unit.vibration, number);
    row.put("retired", &mut unit.retired, flag);
}

/// Fills an absence. Its times are written on the branch's clock.
pub fn absence(row: &mut Reader<'_>, context: &Context, absence: &mut Absence) {
    let time = |text: &str| {
        let written = parse::clock::date_time(text)?;
        let day = parse::day::from_wire(&forenoon_proto::google::r#type::Date {
            year: written.year,
            month: written.month,
            day: written.day,
        })
        .unwrap_or_default();
        instant::instant(text, day, context.zone).map(instant::wire)
    };
    row.put("start_time", &mut absence.start_time, some(time));
    row.put("end_time", &mut absence.end_time, some(time));
    row.put("reason", &mut absence.reason, text);
}
