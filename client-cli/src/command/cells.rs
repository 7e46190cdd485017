//! Cells on the command line: `column=value`, with the columns of the tables that `import` reads.

use std::collections::BTreeMap;

use crate::failure::Failure;
use crate::import::Context;
use crate::import::fault::{Fault, Place};
use crate::import::origin::Origins;
use crate::import::row::{Cell, Reader, Row};
use crate::import::table::Table;
use crate::parse::nearest;
use crate::parse::word::Word;

/// Reads a word of an enumeration, as clap wants it.
pub(super) fn word<E: Word>(text: &str) -> Result<E, String> {
    E::read(text)
}

/// Reads `column=value` words into a row of a table.
pub(super) fn row(table: &'static Table, words: &[String]) -> Result<Row, Failure> {
    let mut cells = BTreeMap::new();
    for (index, written) in words.iter().enumerate() {
        let Some((name, value)) = written.split_once('=') else {
            return Err(Failure::Usage(format!(
                "\"{written}\" is not written as column=value, like display_name=\"Walk mower 36\""
            )));
        };
        let Some(column) = table.column(name.trim()) else {
            let known = table.columns.iter().map(|column| column.name);
            let names: Vec<&str> = known.clone().collect();
            return Err(Failure::Usage(match nearest(name, known) {
                Some(near) => format!(
                    "\"{name}\" is no column of {}; is {near} meant?",
                    table.name
                ),
                None => format!("\"{name}\" is none of: {}", names.join(", ")),
            }));
        };
        let cell = Cell {
            text: value.trim().to_owned(),
            line: 1,
            number: index + 1,
        };
        if cells.insert(column.name, cell).is_some() {
            return Err(Failure::Usage(format!("{} is given twice", column.name)));
        }
    }
    Ok(Row {
        file: "command line".into(),
        line: 1,
        cells,
    })
}

/// Reads a row into a record, and tells which fields of it were written.
pub(super) fn apply<M>(
    row: &Row,
    context: &Context,
    record: &mut M,
    read: impl Fn(&mut Reader<'_>, &Context, &mut M),
) -> Result<Vec<String>, Failure> {
    let mut origins = Origins::new(Place::line(&row.file, row.line));
    let mut faults = Vec::new();
    read(
        &mut Reader::new(row, String::new(), &mut origins, &mut faults),
        context,
        record,
    );
    refuse(&faults)?;
    Ok(origins.top_fields())
}

/// Turns faults of cells into one failure that names them all.
pub(super) fn refuse(faults: &[Fault]) -> Result<(), Failure> {
    if faults.is_empty() {
        return Ok(());
    }
    let said: Vec<String> = faults
        .iter()
        .map(|fault| format!("{}: {}", fault.place.column, fault.reason))
        .collect();
    Err(Failure::BadInput(said.join("\n  ")))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::import::table::UNITS;

    fn words(words: &[&str]) -> Vec<String> {
        words.iter().map(|word| (*word).to_owned()).collect()
    }

    #[test]
    fn cells_are_columns_with_values() {
        let row = row(&UNITS, &words(&["display_name=A = B", "coupling="])).unwrap();
        assert_eq!(row.text("display_name"), "A = B");
        assert_eq!(row.text("coupling"), "");
        assert!(row.cells.contains_key("coupling"));
    }

    #[test]
    fn what_is_no_cell_is_refused() {
        let said = |given: &[&str]| row(&UNITS, &words(given)).unwrap_err().to_string();
        assert!(said(&["mower"]).contains("column=value"));
        assert!(
            said(&["serial=1", "x=2"]).contains("serial_number"),
            "{}",
            said(&["serial=1"])
        );
        assert!(said(&["model=a", "model=b"]).contains("twice"));
    }
}
