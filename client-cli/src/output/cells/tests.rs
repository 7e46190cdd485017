//! What `show` prints can be typed again: cells read back give the record they came from.

use std::collections::BTreeMap;

use forenoon_proto::v1::{Crew, Job, Site, Unit, Worker};

use super::*;
use crate::import::Context;
use crate::import::fault::Place;
use crate::import::record;
use crate::import::row::{Cell, Reader, Row};
use crate::import::table::{self, Table};
use crate::output::clock::Clock;

const ZONE: chrono_tz::Tz = chrono_tz::America::Chicago;

fn context() -> Context {
    Context {
        branch: "branches/north".into(),
        currency: "USD".into(),
        zone: ZONE,
    }
}

fn row(table: &'static Table, cells: &[(&str, &str)]) -> Row {
    let mut row = Row {
        file: "typed".into(),
        line: 1,
        cells: BTreeMap::new(),
    };
    for (name, text) in cells {
        let column = table
            .column(name)
            .unwrap_or_else(|| panic!("{name} is no column of {}", table.name));
        row.cells.insert(
            column.name,
            Cell {
                text: (*text).to_owned(),
                line: 1,
                number: 1,
            },
        );
    }
    row
}

/// Reads cells, writes them, reads them again, and compares.
fn check<T: Default + PartialEq + std::fmt::Debug>(
    table: &'static Table,
    typed: &[(&str, &str)],
    read: impl Fn(&mut Reader<'_>, &mut T),
    show: impl Fn(&T) -> Cells,
) {
    let read_row = |row: &Row| {
        let mut record = T::default();
        let mut origins = crate::import::origin::Origins::new(Place::line(&row.file, 1));
        let mut faults = Vec::new();
        read(
            &mut Reader::new(row, String::new(), &mut origins, &mut faults),
            &mut record,
        );
        assert_eq!(faults, []);
        record
    };
    let first = read_row(&row(table, typed));
    assert_ne!(first, T::default());
    let shown = show(&first);
    let again: Vec<(&str, &str)> = shown
        .own
        .iter()
        .filter(|(name, _)| table.column(name).is_some())
        .map(|(name, text)| (*name, text.as_str()))
        .collect();
    // All columns but those that only `show` has are there.
    assert_eq!(again.len(), table.columns.len());
    assert_eq!(read_row(&row(table, &again)), first);
}

#[test]
fn shown_cells_can_be_typed_again() {
    let clock = Clock { zone: ZONE };
    check(
        &table::UNITS,
        &[
            ("display_name", "Walk mower 36"),
            ("serial_number", "S-1"),
            ("kind", "walk-mower"),
            ("capabilities", "mower; collecting-mower"),
            ("cutting_width", "36 in"),
            ("load_space", "40 cuft"),
            ("purchase_price", "$4,250.50"),
            ("run_hours", "310.5"),
            ("retired", "yes"),
        ],
        |row, unit: &mut Unit| record::unit::unit(row, &context(), unit),
        |value| unit::unit(value, clock),
    );
    check(
        &table::CREWS,
        &[
            ("display_name", "Sedge"),
            ("vehicle", "v-1"),
            ("overtime_allowed", "45 min"),
            ("base_latitude", "41.5"),
            ("base_longitude", "-90.25"),
        ],
        |row, crew: &mut Crew| record::crew::crew(row, &context(), crew),
        crew::crew,
    );
    check(
        &table::WORKERS,
        &[
            ("display_name", "Ada Reed"),
            ("roles", "crew-lead; mechanic"),
            ("skills", "chainsaw"),
            ("cost_per_hour", "24"),
        ],
        |row, worker: &mut Worker| record::crew::worker(row, &context(), worker),
        crew::worker,
    );
    check(
        &table::SITES,
        &[
            ("display_name", "Alder"),
            ("contact_phone", "555-0100"),
            ("latitude", "41.5"),
            ("longitude", "-90"),
            ("clippings", "take-away"),
            ("quiet_until", "08:30"),
            ("sensitive", "yes"),
        ],
        |row, site: &mut Site| record::site::site(row, site),
        site::site,
    );
    check(
        &table::JOBS,
        &[
            ("display_name", "First cut"),
            ("site", "alder"),
            ("priority", "5"),
            (
                "window",
                "2027-04-20..2027-04-24 08:00-12:00,13:00-17:00; 2027-04-27",
            ),
            ("deadline", "2027-11-07 01:30-06:00"),
            ("promise_start", "2027-04-20 09:00"),
            ("promise_end", "2027-04-20 09:30"),
            ("promise_before_work", "yes"),
            ("price", "70"),
            ("turf_height", "40 in"),
            ("first_service", "yes"),
        ],
        |row, job: &mut Job| record::job::job(row, &context(), job),
        job::job,
    );
}
