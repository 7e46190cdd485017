//! A row of a table, and the reading of its cells into a record's fields.

use std::collections::BTreeMap;
use std::sync::Arc;

use forenoon_proto::google::r#type::LatLng;

use super::fault::{Fault, Place};
use super::origin::Origins;
use super::table::Table;
use crate::parse::number;

/// One cell.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cell {
    /// What stands in it, without blanks around it.
    pub text: String,
    /// Its line.
    pub line: u64,
    /// Its column's number, counted from 1.
    pub number: usize,
}

/// One row.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Row {
    /// The file.
    pub file: Arc<str>,
    /// Where the row begins.
    pub line: u64,
    /// Its cells by column.
    pub cells: BTreeMap<&'static str, Cell>,
}

impl Row {
    /// The text of a cell; empty where there is none.
    pub fn text(&self, column: &str) -> &str {
        self.cells.get(column).map_or("", |cell| cell.text.as_str())
    }

    /// The place of a cell, or of the row where the cell is absent.
    pub fn place(&self, column: &str) -> Place {
        self.cells.get_key_value(column).map_or_else(
            || Place {
                column: column.to_owned(),
                ..Place::line(&self.file, self.line)
            },
            |(name, cell)| Place {
                file: Arc::clone(&self.file),
                line: cell.line,
                column_number: cell.number,
                column: (*name).to_owned(),
            },
        )
    }

    /// The faults of cells that must not be empty and are.
    pub fn missing(&self, table: &Table) -> Vec<Fault> {
        table
            .columns
            .iter()
            .filter(|column| column.needed && self.text(column.name).is_empty())
            .map(|column| {
                Fault::new(
                    self.place(column.name),
                    format!("is empty; fill in: {}", column.about),
                )
            })
            .collect()
    }
}

/// Reads the cells of one row into fields, and keeps where each field came from.
///
/// A cell that is absent leaves its field alone; an empty one clears it. So the same code fills a new record and
/// changes single fields of an old one.
#[derive(Debug)]
pub struct Reader<'a> {
    row: &'a Row,
    /// The path of the part of the record that is read, as `areas[0]`; empty for the record itself.
    part: String,
    origins: &'a mut Origins,
    faults: &'a mut Vec<Fault>,
}

impl<'a> Reader<'a> {
    /// A reader for a row that is a record, or a part of one.
    pub fn new(
        row: &'a Row,
        part: String,
        origins: &'a mut Origins,
        faults: &'a mut Vec<Fault>,
    ) -> Self {
        if !part.is_empty() {
            origins.put(part.clone(), Place::line(&row.file, row.line));
        }
        Self {
            row,
            part,
            origins,
            faults,
        }
    }

    /// Reads a cell into a field of the same name.
    pub fn put<T: Default>(
        &mut self,
        column: &str,
        slot: &mut T,
        read: impl FnOnce(&str) -> Result<T, String>,
    ) {
        self.put_as(column, column, slot, read);
    }

    /// Reads a cell into a field of another name.
    pub fn put_as<T: Default>(
        &mut self,
        column: &str,
        field: &str,
        slot: &mut T,
        read: impl FnOnce(&str) -> Result<T, String>,
    ) {
        let Some(cell) = self.row.cells.get(column) else {
            return;
        };
        let path = if self.part.is_empty() {
            field.to_owned()
        } else {
            format!("{}.{field}", self.part)
        };
        self.origins.put(path, self.row.place(column));
        if cell.text.is_empty() {
            *slot = T::default();
            return;
        }
        match read(&cell.text) {
            Ok(value) => *slot = value,
            Err(reason) => self.faults.push(Fault::new(self.row.place(column), reason)),
        }
    }

    /// Whether the row has something in any of these columns.
    pub fn has_any(&self, columns: &[&str]) -> bool {
        columns
            .iter()
            .any(|column| !self.row.text(column).is_empty())
    }

    /// Whether the row names any of these columns, be they empty.
    pub fn names_any(&self, columns: &[&str]) -> bool {
        columns
            .iter()
            .any(|column| self.row.cells.contains_key(column))
    }

    /// Reads two cells into a point on earth. One without the other is a fault.
    pub fn point(
        &mut self,
        latitude: &str,
        longitude: &str,
        field: &str,
        slot: &mut Option<LatLng>,
    ) {
        if !self.names_any(&[latitude, longitude]) {
            return;
        }
        let mut point = slot.unwrap_or_default();
        self.put_as(
            latitude,
            &format!("{field}.latitude"),
            &mut point.latitude,
            number,
        );
        self.put_as(
            longitude,
            &format!("{field}.longitude"),
            &mut point.longitude,
            number,
        );
        let (has_latitude, has_longitude) = (self.has_any(&[latitude]), self.has_any(&[longitude]));
        if has_latitude != has_longitude && slot.is_none() {
            let empty = if has_latitude { longitude } else { latitude };
            self.faults.push(Fault::new(
                self.row.place(empty),
                "is empty; a point needs both its latitude and its longitude",
            ));
        }
        *slot = (has_latitude || has_longitude).then_some(point);
    }
}

/// Turns a reader of a value into one of a field that may be absent.
pub fn some<T>(
    read: impl FnOnce(&str) -> Result<T, String>,
) -> impl FnOnce(&str) -> Result<Option<T>, String> {
    |text| read(text).map(Some)
}

/// The text with every line break as the server takes it: spreadsheets write CR LF inside quotes, old ones CR alone.
pub(super) fn unix_line_breaks(text: &str) -> String {
    text.replace("\r\n", "\n").replace('\r', "\n")
}

/// Takes the text as it stands.
///
/// # Errors
/// None; the form is that of the other readers.
pub fn text(text: &str) -> Result<String, String> {
    Ok(text.to_owned())
}
