//! Reader for the classic public text layout of vehicle routing with time windows.
//!
//! Layout: a name line; a `VEHICLE` block with number and capacity; a `CUSTOMER` block with one line for the depot and
//! each customer: number, x, y, demand, ready time, due date, service time. After M. M. Solomon, Operations Research
//! 35(2), 1987.
//!
//! Convention "dimacs-trunc1": the distance and travel time between two points are the truncated tenths of the
//! Euclidean distance; windows and service times are multiplied by ten.

use forenoon_planner::routing::{Uniform, UniformError, Visit, spatial_order};

/// What is wrong with a file.
#[derive(Debug, thiserror::Error)]
pub(crate) enum TextError {
    /// The text ends too early.
    #[error("the text ends before {expected}")]
    Ends {
        /// What was expected.
        expected: &'static str,
    },
    /// A field that is no number, or missing.
    #[error("line {line}: {field} is {found:?}, not a number")]
    Number {
        /// Line, from 1.
        line: usize,
        /// Field name.
        field: &'static str,
        /// Text found.
        found: String,
    },
    /// Customers out of sequence.
    #[error("line {line}: customer {found} where {expected} was expected")]
    Sequence {
        /// Line, from 1.
        line: usize,
        /// Number found.
        found: i64,
        /// Number expected.
        expected: i64,
    },
    /// The numbers do not make a problem.
    #[error("not a problem: {}", .0.iter().map(ToString::to_string).collect::<Vec<_>>().join("; "))]
    Problem(Vec<UniformError>),
}

/// Largest number accepted in a field before scaling.
const MAX_FIELD: f64 = 1e9;

/// The whole part of a number of the size of [`MAX_FIELD`] at most, times ten.
#[expect(
    clippy::cast_possible_truncation,
    reason = "below 2^53: MAX_FIELD bounds what is read"
)]
fn whole(value: f64) -> i64 {
    value as i64
}

struct Fields<'t> {
    line: usize,
    words: std::str::SplitWhitespace<'t>,
}

impl Fields<'_> {
    fn number(&mut self, field: &'static str) -> Result<f64, TextError> {
        let found = self.words.next().unwrap_or("");
        match found.parse::<f64>() {
            Ok(value) if value.abs() <= MAX_FIELD => Ok(value),
            _ => Err(TextError::Number {
                line: self.line,
                field,
                found: found.to_owned(),
            }),
        }
    }
}

/// A problem read from a file.
pub(crate) struct Instance {
    pub(crate) customers: usize,
    /// The customer's number in the file, for each stop of the problem.
    pub(crate) numbers: Vec<usize>,
    pub(crate) problem: Uniform,
}

/// Reads one instance.
pub(crate) fn read(text: &str) -> Result<Instance, TextError> {
    let mut lines = text
        .lines()
        .enumerate()
        .map(|(at, line)| (at + 1, line.trim()))
        .filter(|(_, line)| !line.is_empty());
    lines.next().ok_or(TextError::Ends {
        expected: "the name",
    })?;
    // Heading lines start with a letter; only lines of numbers carry data.
    let mut rows = lines
        .filter(|(_, line)| !line.starts_with(|first: char| first.is_ascii_alphabetic()))
        .map(|(line, text)| Fields {
            line,
            words: text.split_whitespace(),
        });
    let mut vehicle = rows.next().ok_or(TextError::Ends {
        expected: "the vehicles",
    })?;
    let number = vehicle.number("vehicle number")?;
    let capacity = whole(vehicle.number("capacity")?);
    let mut points = Vec::new();
    let mut visits = Vec::new();
    for mut row in rows {
        let found = whole(row.number("customer number")?);
        let expected = i64::try_from(visits.len()).unwrap_or(i64::MAX);
        if found != expected {
            return Err(TextError::Sequence {
                line: row.line,
                found,
                expected,
            });
        }
        points.push((row.number("x")?, row.number("y")?));
        let demand = whole(row.number("demand")?);
        let mut tenths = |field| row.number(field).map(|value| whole(value * 10.0));
        let (open, close, service) = (
            tenths("ready time")?,
            tenths("due date")?,
            tenths("service time")?,
        );
        visits.push(Visit {
            demand,
            open,
            close,
            service,
        });
    }
    if visits.is_empty() {
        return Err(TextError::Ends {
            expected: "the depot",
        });
    }
    // The depot stands first in the file, last in the engine; customers go in spatial order.
    let depot = visits.remove(0);
    let home = points.remove(0);
    let order = spatial_order(&points);
    let visits: Vec<Visit> = order.iter().map(|&at| visits[at]).collect();
    let points: Vec<(f64, f64)> = order.iter().map(|&at| points[at]).chain([home]).collect();
    let vehicles = usize::try_from(whole(number)).unwrap_or(0);
    let problem = Uniform::new(&visits, depot, vehicles, capacity, |from, to| {
        let ((ax, ay), (bx, by)) = (points[from], points[to]);
        let (dx, dy) = (ax - bx, ay - by);
        whole(10.0 * (dx * dx + dy * dy).sqrt())
    })
    .map_err(TextError::Problem)?;
    let numbers = order.into_iter().map(|at| at + 1).collect();
    Ok(Instance {
        customers: visits.len(),
        numbers,
        problem,
    })
}
