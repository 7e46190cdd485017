//! Records back into the cells they are imported from: what `show` prints, and what `set` takes.

pub mod crew;
pub mod job;
pub mod site;
pub mod unit;

use forenoon_proto::google::r#type::{LatLng, Money};

use super::grid::Grid;
use super::measure::figure;
use crate::parse::word::{Word, word_of};

/// A record as cells, with its parts as rows below.
#[derive(Clone, Debug, Default)]
pub struct Cells {
    /// Columns of the record's table with their text.
    pub own: Vec<(&'static str, String)>,
    /// Names of part tables with their rows.
    pub parts: Vec<(&'static str, Grid)>,
}

impl Cells {
    /// The cells that say something, under each other, then the parts.
    pub fn page(&self, width: usize) -> String {
        let mut lines = Vec::new();
        for (column, text) in self.own.iter().filter(|(_, text)| !text.is_empty()) {
            let first = super::text::fit(column, LABEL_WIDTH);
            lines.extend(super::text::hanging(&format!("{first}  "), text, width));
        }
        let mut page = lines.join("\n") + "\n";
        for (name, grid) in self.parts.iter().filter(|(_, grid)| !grid.rows.is_empty()) {
            super::text::add(
                &mut page,
                format_args!("\n{}\n{}", super::paint::strong(name), grid.table(width)),
            );
        }
        page
    }

    /// Every cell as a row of table, row number, column and text.
    pub fn grid(&self) -> Grid {
        let mut grid = Grid::new(&["part", "row", "column", "value"]);
        for (column, text) in &self.own {
            grid.row([
                String::new(),
                String::new(),
                (*column).to_owned(),
                text.clone(),
            ]);
        }
        for (name, part) in &self.parts {
            for (index, row) in part.rows.iter().enumerate() {
                for (heading, text) in part.headings.iter().zip(row) {
                    grid.row([
                        (*name).to_owned(),
                        (index + 1).to_string(),
                        (*heading).to_owned(),
                        text.clone(),
                    ]);
                }
            }
        }
        grid
    }
}

/// The longest column name of a record's own table fits.
const LABEL_WIDTH: usize = 22;

fn words<E: Word>(values: &[i32]) -> String {
    values
        .iter()
        .map(|value| word_of::<E>(*value))
        .collect::<Vec<_>>()
        .join("; ")
}

fn flag(flag: bool) -> String {
    if flag {
        "yes".to_owned()
    } else {
        String::new()
    }
}

/// A figure; empty for nought, which the contract does not tell from absent.
fn number(value: f64) -> String {
    if value == 0.0 {
        String::new()
    } else {
        figure(value)
    }
}

fn whole(value: i32) -> String {
    if value == 0 {
        String::new()
    } else {
        value.to_string()
    }
}

fn amount(money: Option<&Money>) -> String {
    money.map(crate::parse::money::show).unwrap_or_default()
}

fn stretch(length: Option<&prost_types::Duration>) -> String {
    length.map_or_else(String::new, |length| {
        if length.seconds % 60 == 0 {
            format!("{} min", length.seconds / 60)
        } else {
            format!("{} s", length.seconds)
        }
    })
}

/// Degrees to a tenth of a metre.
fn degrees(point: Option<&LatLng>) -> (String, String) {
    point.map_or_else(Default::default, |point| {
        (
            format!("{:.6}", point.latitude),
            format!("{:.6}", point.longitude),
        )
    })
}

#[cfg(test)]
mod tests;
