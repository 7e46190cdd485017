//! What is wrong with data, and where.

use std::fmt;
use std::sync::Arc;

/// A place in a file.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Place {
    /// The file as it was named.
    pub file: Arc<str>,
    /// The line, counted from 1; 0 for the file as a whole.
    pub line: u64,
    /// The column's number, counted from 1; 0 for the row as a whole.
    pub column_number: usize,
    /// The column's name; empty for the row as a whole.
    pub column: String,
}

impl Place {
    /// A whole file.
    pub fn file(file: &Arc<str>) -> Self {
        Self::line(file, 0)
    }

    /// A whole line.
    pub fn line(file: &Arc<str>, line: u64) -> Self {
        Self {
            file: Arc::clone(file),
            line,
            column_number: 0,
            column: String::new(),
        }
    }
}

impl fmt::Display for Place {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(out, "{}", self.file)?;
        if self.line > 0 {
            write!(out, ":{}", self.line)?;
        }
        if !self.column.is_empty() {
            write!(out, " {}", self.column)?;
        }
        Ok(())
    }
}

/// One fault.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// Where.
    pub place: Place,
    /// What is wrong and how to put it right.
    pub reason: String,
}

impl Fault {
    /// A fault at a place.
    pub fn new(place: Place, reason: impl Into<String>) -> Self {
        Self {
            place,
            reason: reason.into(),
        }
    }
}
