//! Driving times from a file, for `plan` and `replan`.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use forenoon_proto::v1;

use crate::failure::Failure;

/// Faults of one file that are told.
const FAULTS_TOLD_MAX: usize = 20;
/// What the server reads as "by the travel rule".
const NOT_KNOWN: i32 = -1;

/// The columns of a file, in any order.
const COLUMNS: [&str; 3] = ["from", "to", "seconds"];

/// A row of a file.
#[derive(Debug, serde::Deserialize)]
struct Drive {
    from: String,
    to: String,
    seconds: i32,
}

/// The option by which a file is given.
#[derive(Debug, clap::Args)]
pub(crate) struct DrivesArg {
    /// Driving times, a CSV file with the columns from, to and seconds; a place is `yard`, `site ID` or `crew ID`.
    /// Pairs that are not in it are reckoned by the branch's travel rule
    #[arg(long, value_name = "FILE")]
    drives: Option<PathBuf>,
}

impl DrivesArg {
    /// The matrix, where a file is given.
    ///
    /// # Errors
    /// Where the file cannot be read, and every row at fault with its line.
    pub(super) fn read(&self, branch: &str) -> Result<Option<v1::TravelMatrix>, Failure> {
        let Some(path) = &self.drives else {
            return Ok(None);
        };
        let text = std::fs::read_to_string(path)
            .map_err(|cause| Failure::Other(format!("{}: {cause}", path.display())))?;
        matrix(branch, path, &text)
            .map(Some)
            .map_err(Failure::BadInput)
    }
}

fn matrix(branch: &str, path: &Path, text: &str) -> Result<v1::TravelMatrix, String> {
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let mut places: Vec<String> = Vec::new();
    let mut numbers: BTreeMap<String, usize> = BTreeMap::new();
    let mut drives: BTreeMap<(usize, usize), i32> = BTreeMap::new();
    let header = reader
        .headers()
        .map_err(|cause| format!("{}:1: cannot be read: {cause}", path.display()))?;
    let missing: Vec<&str> = COLUMNS
        .into_iter()
        .filter(|column| header.iter().filter(|name| name == column).count() != 1)
        .collect();
    if !missing.is_empty() {
        return Err(format!(
            "{}:1: the first line must name the columns {}, each once; it does not with {}",
            path.display(),
            COLUMNS.join(", "),
            missing.join(", "),
        ));
    }
    let mut faults: Vec<String> = Vec::new();
    for (index, row) in reader.deserialize::<Drive>().enumerate() {
        // The header is line 1.
        let line = index + 2;
        let mut fault = |what: String| faults.push(format!("{}:{line}: {what}", path.display()));
        let Drive { from, to, seconds } = match row {
            Ok(row) => row,
            Err(cause) => {
                fault(format!("cannot be read: {cause}"));
                continue;
            }
        };
        let mut number = |text: &str| {
            let name = place(branch, text)?;
            Some(*numbers.entry(name.clone()).or_insert_with(|| {
                places.push(name);
                places.len() - 1
            }))
        };
        let (Some(a), Some(b)) = (number(&from), number(&to)) else {
            fault(format!(
                "from {from:?} to {to:?}: give `yard`, `site ID` or `crew ID`"
            ));
            continue;
        };
        if drives.insert((a, b), seconds).is_some() {
            fault(format!("from {from} to {to} is there already"));
        }
    }
    if !faults.is_empty() {
        faults.truncate(FAULTS_TOLD_MAX);
        return Err(faults.join("\n"));
    }
    let rows = places.len();
    let seconds = (0..rows * rows)
        .map(|at| {
            let (from, to) = (at / rows, at % rows);
            let silent = if from == to { 0 } else { NOT_KNOWN };
            drives.get(&(from, to)).copied().unwrap_or(silent)
        })
        .collect();
    Ok(v1::TravelMatrix { places, seconds })
}

/// The resource name of a place.
fn place(branch: &str, text: &str) -> Option<String> {
    if text == "yard" {
        return Some(branch.to_owned());
    }
    match text.split_once(' ')? {
        ("site", id) => Some(format!("{branch}/sites/{}", id.trim())),
        ("crew", id) => Some(format!("{branch}/crews/{}", id.trim())),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_become_a_matrix_and_what_is_not_there_is_left_to_the_rule() {
        let text = "from,to,seconds\nyard,site mill,300\nsite mill,yard,360\nyard,crew elm,60\n";
        let read = matrix("branches/north", Path::new("a.csv"), text).unwrap();
        let names = [
            "branches/north",
            "branches/north/sites/mill",
            "branches/north/crews/elm",
        ];
        assert_eq!(read.places, names);
        assert_eq!(read.seconds, [0, 300, 60, 360, 0, -1, -1, -1, 0]);
    }

    #[test]
    fn columns_go_by_their_names() {
        let text = "to,seconds,from,note\nsite mill,300,yard,by the ford\n";
        let read = matrix("branches/north", Path::new("a.csv"), text).unwrap();
        let names = ["branches/north", "branches/north/sites/mill"];
        assert_eq!(read.places, names);
        assert_eq!(read.seconds, [0, 300, -1, 0]);
    }

    #[test]
    fn a_file_without_the_columns_names_is_refused() {
        for (text, named) in [
            (
                "yard,site mill,300\nsite mill,yard,360\n",
                "from, to, seconds",
            ),
            ("from,to,minutes\nyard,site mill,5\n", "with seconds"),
            ("from,from,to,seconds\n", "with from"),
            ("", "from, to, seconds"),
        ] {
            let fault = matrix("branches/north", Path::new("a.csv"), text).unwrap_err();
            assert!(
                fault.starts_with("a.csv:1: ") && fault.ends_with(named),
                "{fault}"
            );
        }
    }

    #[test]
    fn every_bad_row_is_told_with_its_line() {
        let text = "from,to,seconds\nyard,mill,3\nyard,site a,x\nyard,site b,1\nyard,site b,2\n";
        let faults = matrix("branches/north", Path::new("a.csv"), text).unwrap_err();
        let lines: Vec<&str> = faults.lines().map(|line| &line[..8]).collect();
        assert_eq!(lines, ["a.csv:2:", "a.csv:3:", "a.csv:5:"]);
    }
}
