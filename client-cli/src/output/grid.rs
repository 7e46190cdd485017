//! Rows under headings: a table for people, tab-separated lines for scripts.

use comfy_table::{ColumnConstraint, ContentArrangement, LineStyle, Table, TableStyle, Width};

use super::paint;

/// A hair under the headings, blanks between columns, nothing else.
const STYLE: TableStyle =
    TableStyle::new().header_separator(LineStyle::none().fill('─').junction('─'));
/// A column is not squeezed below this, or words fall apart.
const NARROWEST: u16 = 6;

/// Rows under headings.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Grid {
    /// The headings; fixed for each command, so that scripts can count on their order.
    pub headings: Vec<&'static str>,
    /// The rows, each with a cell for every heading.
    pub rows: Vec<Vec<String>>,
}

impl Grid {
    /// A grid without rows.
    pub fn new(headings: &[&'static str]) -> Self {
        Self {
            headings: headings.to_vec(),
            rows: Vec::new(),
        }
    }

    /// Adds a row.
    pub fn row(&mut self, cells: impl IntoIterator<Item = String>) {
        self.rows.push(cells.into_iter().collect());
    }

    /// Tab-separated lines without headings. Tabs and line breaks inside cells become blanks.
    pub fn plain(&self) -> String {
        let mut text = String::new();
        for row in &self.rows {
            let cells: Vec<String> = row
                .iter()
                .map(|cell| cell.replace(['\t', '\n', '\r'], " "))
                .collect();
            text.push_str(&cells.join("\t"));
            text.push('\n');
        }
        text
    }

    /// A table within a width, long cells wrapped.
    pub fn table(&self, width: usize) -> String {
        if self.rows.is_empty() {
            return "Nothing to show.\n".to_owned();
        }
        let mut table = Table::new();
        table
            .load_style(STYLE)
            .set_content_arrangement(ContentArrangement::Dynamic)
            .set_width(u16::try_from(width).unwrap_or(u16::MAX))
            .set_header(self.headings.clone());
        for row in &self.rows {
            table.add_row(row.clone());
        }
        for column in table.column_iter_mut() {
            column.set_padding((0, 2));
            column.set_constraint(ColumnConstraint::LowerBoundary(Width::Fixed(NARROWEST)));
        }
        let mut text = String::new();
        for (index, line) in table.lines().enumerate() {
            let line = line.trim_end();
            match index {
                0 => text.push_str(&paint::strong(line)),
                1 => text.push_str(&paint::faint(line)),
                _ => text.push_str(line),
            }
            text.push('\n');
        }
        text
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn grid() -> Grid {
        let mut grid = Grid::new(&["unit", "note"]);
        grid.row(["u-1".to_owned(), "shakes\tat idle\nand stalls".to_owned()]);
        grid
    }

    #[test]
    fn plain_lines_hold_one_row_each() {
        assert_eq!(grid().plain(), "u-1\tshakes at idle and stalls\n");
    }

    #[test]
    fn tables_stay_within_their_width() {
        let mut grid = grid();
        grid.row([
            "u-2".to_owned(),
            "a long story about a belt that slipped and a guard that fell off".to_owned(),
        ]);
        let text = anstream::adapter::strip_str(&grid.table(40)).to_string();
        assert!(
            text.lines().all(|line| line.chars().count() <= 40),
            "{text}"
        );
        assert!(text.starts_with("unit"), "{text}");
        assert_eq!(Grid::new(&["unit"]).table(40), "Nothing to show.\n");
    }
}
