//! Tables from JSON: the same columns, an array of objects for each table; one table a file, or an object with
//! several tables by name. Cells are words, numbers, true or false; lists may be arrays of them.

use std::collections::BTreeMap;
use std::fmt;
use std::sync::Arc;

use serde::de::{Deserialize, Deserializer, MapAccess, Visitor};
use serde_json::Value;
use serde_json::value::RawValue;

use super::csv_file::unknown_column;
use super::fault::{Fault, Place};
use super::row::{Cell, Row, unix_line_breaks};
use super::table::{self, Table};

/// Reads a file: the rows of the table that the file is named after, or of the tables inside it.
pub(super) fn read(
    named: Option<&'static Table>,
    file: &Arc<str>,
    bytes: &[u8],
    faults: &mut Vec<Fault>,
) -> Vec<(&'static Table, Vec<Row>)> {
    let Ok(text) = std::str::from_utf8(bytes) else {
        faults.push(Fault::new(
            Place::file(file),
            "is not UTF-8; save the file in that encoding",
        ));
        return Vec::new();
    };
    let mut reading = Reading {
        file,
        text,
        line_ends: text.match_indices('\n').map(|(offset, _)| offset).collect(),
        faults,
    };
    if let Some(table) = named {
        return vec![(table, reading.table(table, text))];
    }
    let Some(tables) = reading.parse::<Pairs<'_>>(text, "an object of tables") else {
        return Vec::new();
    };
    let mut read = Vec::new();
    for (name, raw) in tables.0 {
        if let Some(table) = table::named(&name) {
            let rows = reading.table(table, raw.get());
            read.push((table, rows));
        } else {
            let place = reading.place(raw.get());
            let known: Vec<&str> = table::ALL.iter().map(|table| table.name).collect();
            reading.faults.push(Fault::new(
                place,
                format!("\"{name}\" is none of the tables: {}", known.join(", ")),
            ));
        }
    }
    read
}

struct Reading<'a, 'f> {
    file: &'a Arc<str>,
    text: &'a str,
    /// Offsets of the line breaks.
    line_ends: Vec<usize>,
    faults: &'f mut Vec<Fault>,
}

impl<'a> Reading<'a, '_> {
    /// The line on which a piece of the file begins. The piece must be borrowed from the file's text.
    fn place(&self, piece: &str) -> Place {
        let offset = (piece.as_ptr() as usize).saturating_sub(self.text.as_ptr() as usize);
        let breaks = self.line_ends.partition_point(|end| *end < offset);
        Place::line(self.file, breaks as u64 + 1)
    }

    fn parse<T: Deserialize<'a>>(&mut self, piece: &'a str, wanted: &str) -> Option<T> {
        match serde_json::from_str::<T>(piece) {
            Ok(value) => Some(value),
            Err(error) => {
                let start = self.place(piece).line;
                let line = start + (error.line() as u64).saturating_sub(1);
                let reason = format!("is not {wanted}: {error}");
                self.faults
                    .push(Fault::new(Place::line(self.file, line), reason));
                None
            }
        }
    }

    fn table(&mut self, table: &'static Table, piece: &'a str) -> Vec<Row> {
        let Some(items) = self.parse::<Vec<&RawValue>>(piece, "an array of rows") else {
            return Vec::new();
        };
        items
            .into_iter()
            .filter_map(|item| self.row(table, item.get()))
            .collect()
    }

    fn row(&mut self, table: &'static Table, piece: &'a str) -> Option<Row> {
        let pairs = self.parse::<Pairs<'_>>(piece, "an object of cells")?;
        let mut cells = BTreeMap::new();
        for (index, (name, raw)) in pairs.0.into_iter().enumerate() {
            let place = Place {
                column_number: index + 1,
                column: name.clone(),
                ..self.place(raw.get())
            };
            let Some(column) = table.column(&name) else {
                self.faults
                    .push(Fault::new(place, unknown_column(table, &name)));
                continue;
            };
            let text = match cell_text(raw.get()) {
                Ok(text) => text,
                Err(reason) => {
                    self.faults.push(Fault::new(place, reason));
                    continue;
                }
            };
            let cell = Cell {
                text: unix_line_breaks(&text),
                line: place.line,
                number: index + 1,
            };
            if cells.insert(column.name, cell).is_some() {
                self.faults
                    .push(Fault::new(place, "stands twice in this row; drop one"));
            }
        }
        let line = self.place(piece).line;
        Some(Row {
            file: Arc::clone(self.file),
            line,
            cells,
        })
    }
}

/// A JSON value as the text that a CSV cell would hold.
fn cell_text(raw: &str) -> Result<String, String> {
    const WRONG: &str = "must be a word, a number, true, false, or an array of them";
    match serde_json::from_str(raw).map_err(|error| error.to_string())? {
        Value::Null => Ok(String::new()),
        Value::Bool(flag) => Ok(if flag { "yes" } else { "no" }.to_owned()),
        Value::Number(_) => Ok(raw.trim().to_owned()),
        Value::String(text) => Ok(text.trim().to_owned()),
        Value::Array(items) => {
            let mut parts = Vec::with_capacity(items.len());
            for item in items {
                match item {
                    Value::String(text) => parts.push(text.trim().to_owned()),
                    Value::Number(number) => parts.push(number.to_string()),
                    _ => return Err(WRONG.to_owned()),
                }
            }
            Ok(parts.join("; "))
        }
        Value::Object(_) => Err(WRONG.to_owned()),
    }
}

/// The members of an object in their order, so that one that stands twice is seen.
struct Pairs<'a>(Vec<(String, &'a RawValue)>);

impl<'de> Deserialize<'de> for Pairs<'de> {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Members;

        impl<'de> Visitor<'de> for Members {
            type Value = Pairs<'de>;

            fn expecting(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
                out.write_str("an object")
            }

            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Pairs<'de>, A::Error> {
                let mut pairs = Vec::new();
                while let Some(pair) = map.next_entry()? {
                    pairs.push(pair);
                }
                Ok(Pairs(pairs))
            }
        }

        deserializer.deserialize_map(Members)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read_text(
        named: Option<&'static Table>,
        text: &str,
    ) -> (Vec<(&'static str, Vec<Row>)>, Vec<String>) {
        let mut faults = Vec::new();
        let tables = read(named, &"data.json".into(), text.as_bytes(), &mut faults);
        (
            tables
                .into_iter()
                .map(|(table, rows)| (table.name, rows))
                .collect(),
            faults
                .into_iter()
                .map(|fault| format!("{}: {}", fault.place, fault.reason))
                .collect(),
        )
    }

    #[test]
    fn an_object_of_tables_becomes_rows_with_their_lines() {
        let (tables, faults) = read_text(
            None,
            "{\n \"crews\": [\n  {\"crew_id\": \"a\",\n   \"display_name\": \"A\"}\n ],\n \"tasks\": [{\"passes\": 2,              \"capabilities\": [\"edger\", \"blower\"]}]\n}",
        );
        assert_eq!(faults, Vec::<String>::new());
        let (name, crews) = &tables[0];
        assert_eq!((*name, crews[0].line), ("crews", 3));
        assert_eq!(crews[0].place("display_name").line, 4);
        let (_, tasks) = &tables[1];
        assert_eq!(tasks[0].text("passes"), "2");
        assert_eq!(tasks[0].text("capabilities"), "edger; blower");
    }

    #[test]
    fn line_breaks_of_other_systems_become_ours() {
        let (tables, faults) = read_text(
            Some(&table::HAZARDS),
            r#"[{"site_id": "a", "hazard_id": "h", "description": "a pipe,\r\nby the gate"}]"#,
        );
        assert_eq!(faults, Vec::<String>::new());
        let (_, hazards) = &tables[0];
        assert_eq!(hazards[0].text("description"), "a pipe,\nby the gate");
    }

    #[test]
    fn faults_of_form_have_their_line() {
        let (_, faults) = read_text(
            Some(&table::HAZARDS),
            "[\n {\"site_id\": {\"a\": 1}},\n 7,\n {\"hazardid\": 1, \"site_id\": \"x\", \"site_id\": \"y\"}\n]",
        );
        assert_eq!(
            faults,
            [
                "data.json:2 site_id: must be a word, a number, true, false, or an array of them",
                "data.json:3: is not an object of cells: invalid type: integer `7`, expected an object at line 1 column 1",
                "data.json:4 hazardid: \"hazardid\" is no column of hazards; is hazard_id meant?",
                "data.json:4 site_id: stands twice in this row; drop one",
            ]
        );
        let (_, broken) = read_text(None, "{\n \"crews\": [\n");
        assert!(
            broken[0].starts_with("data.json:3: is not an object of tables"),
            "{broken:?}"
        );
        let (_, unknown) = read_text(None, "{\"trucks\": []}");
        assert!(
            unknown[0].contains("none of the tables: units"),
            "{unknown:?}"
        );
    }
}
