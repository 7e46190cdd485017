//! Tables from CSV: a header line with the columns' names, then a row a line; quotes as RFC 4180 has them.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::fault::{Fault, Place};
use super::row::{Cell, Row, unix_line_breaks};
use super::table::{Column, Table};
use crate::parse::nearest;

/// Reads a table. Whatever is wrong goes to the faults; rows that can be read are read all the same.
pub(super) fn read(
    table: &'static Table,
    file: &Arc<str>,
    bytes: &[u8],
    faults: &mut Vec<Fault>,
) -> Vec<Row> {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .trim(csv::Trim::All)
        .from_reader(bytes);
    let mut lines = Lines {
        bytes,
        at: 0,
        line: 1,
    };
    let mut header: Option<Vec<Option<&'static Column>>> = None;
    let mut rows = Vec::new();
    for record in reader.byte_records() {
        let record = match record {
            Ok(record) => record,
            Err(error) => {
                faults.push(Fault::new(
                    Place::file(file),
                    format!("cannot be read: {error}"),
                ));
                break;
            }
        };
        let line = lines.at_record(record.position().map_or(0, csv::Position::byte));
        let mut texts = Vec::with_capacity(record.len());
        for (index, cell) in record.iter().enumerate() {
            let text = std::str::from_utf8(cell).unwrap_or_else(|_| {
                let place = Place {
                    column_number: index + 1,
                    ..Place::line(file, line)
                };
                faults.push(Fault::new(
                    place,
                    format!(
                        "cell {} is not UTF-8; save the file in that encoding",
                        index + 1
                    ),
                ));
                ""
            });
            texts.push(text);
        }
        match &header {
            None => header = Some(columns(table, file, line, &texts, faults)),
            Some(columns) => {
                if texts.iter().all(|text| text.is_empty()) {
                    continue;
                }
                if texts.len() == columns.len() {
                    rows.push(row(file, line, columns, &texts));
                } else {
                    faults.push(Fault::new(
                        Place::line(file, line),
                        format!(
                            "has {} cells where the header has {}; quote cells with commas in them",
                            texts.len(),
                            columns.len()
                        ),
                    ));
                }
            }
        }
    }
    if header.is_none() {
        faults.push(Fault::new(
            Place::file(file),
            "is empty; its first line must name the columns",
        ));
    }
    rows
}

fn row(file: &Arc<str>, line: u64, columns: &[Option<&'static Column>], texts: &[&str]) -> Row {
    let mut cells = BTreeMap::new();
    for (index, (column, text)) in columns.iter().zip(texts).enumerate() {
        if let Some(column) = column {
            cells.insert(
                column.name,
                Cell {
                    text: unix_line_breaks(text),
                    line,
                    number: index + 1,
                },
            );
        }
    }
    Row {
        file: Arc::clone(file),
        line,
        cells,
    }
}

/// The columns that a header names, with a fault for each that is unknown, named twice or missing.
fn columns(
    table: &'static Table,
    file: &Arc<str>,
    line: u64,
    names: &[&str],
    faults: &mut Vec<Fault>,
) -> Vec<Option<&'static Column>> {
    let mut found: Vec<Option<&'static Column>> = Vec::with_capacity(names.len());
    for (index, name) in names.iter().enumerate() {
        let place = Place {
            column_number: index + 1,
            column: (*name).to_owned(),
            ..Place::line(file, line)
        };
        let column = table.column(&name.to_ascii_lowercase());
        match column {
            None => faults.push(Fault::new(place, unknown_column(table, name))),
            Some(column)
                if found
                    .iter()
                    .flatten()
                    .any(|known| known.name == column.name) =>
            {
                faults.push(Fault::new(
                    place,
                    "names a column for the second time; drop one",
                ));
            }
            Some(_) => {}
        }
        found.push(column);
    }
    for column in table.columns.iter().filter(|column| column.needed) {
        if !found
            .iter()
            .flatten()
            .any(|known| known.name == column.name)
        {
            let place = Place {
                column: column.name.to_owned(),
                ..Place::line(file, line)
            };
            faults.push(Fault::new(
                place,
                format!("is not among the columns; add it: {}", column.about),
            ));
        }
    }
    found
}

/// A sentence about a column that a table does not have.
pub(super) fn unknown_column(table: &Table, name: &str) -> String {
    let known = table.columns.iter().map(|column| column.name);
    match nearest(name, known) {
        Some(near) => format!(
            "\"{name}\" is no column of {}; is {near} meant?",
            table.name
        ),
        None => format!(
            "\"{name}\" is no column of {}; `forenoon import --columns` lists them",
            table.name
        ),
    }
}

/// Line numbers of records. The reader's own count stands at the end of the record before, with blank lines in
/// between, so lines are counted from the bytes.
struct Lines<'a> {
    bytes: &'a [u8],
    at: usize,
    line: u64,
}

impl Lines<'_> {
    /// The line on which the record that the reader found at this byte really begins. Records come in order.
    fn at_record(&mut self, byte: u64) -> u64 {
        let start = usize::try_from(byte).unwrap_or(usize::MAX);
        while let Some(next) = self.bytes.get(self.at) {
            if self.at >= start && !matches!(next, b'\r' | b'\n') {
                break;
            }
            self.line += u64::from(*next == b'\n');
            self.at += 1;
        }
        self.line
    }
}

#[cfg(test)]
mod tests {
    use super::super::table::HAZARDS;
    use super::*;

    fn read_text(text: &str) -> (Vec<Row>, Vec<String>) {
        let mut faults = Vec::new();
        let rows = read(
            &HAZARDS,
            &"hazards.csv".into(),
            text.as_bytes(),
            &mut faults,
        );
        let faults = faults
            .into_iter()
            .map(|fault| format!("{}: {}", fault.place, fault.reason))
            .collect();
        (rows, faults)
    }

    #[test]
    fn lines_are_counted_through_blank_and_quoted_ones() {
        let (rows, faults) = read_text(
            "\u{feff}site_id,hazard_id,description\r\n\r\na,h1,\"a pipe,\r\nby the gate\"\r\n\r\na,h2,glass\r\n",
        );
        assert_eq!(faults, Vec::<String>::new());
        assert_eq!(rows.iter().map(|row| row.line).collect::<Vec<_>>(), [3, 6]);
        assert_eq!(rows[0].text("description"), "a pipe,\nby the gate");
        assert_eq!(rows[1].place("description").column_number, 3);
    }

    #[test]
    fn every_fault_of_form_is_found() {
        let (rows, faults) = read_text("site_id,hazzard_id,site_id,colour\na,b,c,d\na,b\n");
        assert_eq!(
            faults,
            [
                "hazards.csv:1 hazzard_id: \"hazzard_id\" is no column of hazards; is hazard_id meant?",
                "hazards.csv:1 site_id: names a column for the second time; drop one",
                "hazards.csv:1 colour: \"colour\" is no column of hazards; `forenoon import --columns` lists them",
                "hazards.csv:1 hazard_id: is not among the columns; add it: id within the site",
                "hazards.csv:1 description: is not among the columns; add it: what it is and where, in words",
                "hazards.csv:3: has 2 cells where the header has 4; quote cells with commas in them",
            ]
        );
        assert_eq!(rows.len(), 1);
        assert_eq!(
            read_text("").1,
            ["hazards.csv: is empty; its first line must name the columns"]
        );
    }

    #[test]
    fn other_encodings_are_told_by_cell() {
        let mut faults = Vec::new();
        read(
            &HAZARDS,
            &"h.csv".into(),
            b"site_id,hazard_id,description\na,b,caf\xe9\n",
            &mut faults,
        );
        assert_eq!(faults.len(), 1);
        assert_eq!(faults[0].place.line, 2);
        assert!(faults[0].reason.contains("UTF-8"));
    }
}
