//! Files and folders into tables.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::fault::{Fault, Place};
use super::row::Row;
use super::table::{self, Table};
use super::{csv_file, json_file};
use crate::failure::Failure;
use crate::parse::nearest;

/// Rows by table.
pub type Tables = BTreeMap<&'static str, Vec<Row>>;

/// Files larger than this are taken for a mistake.
const FILE_BYTES_MAX: u64 = 256 * 1024 * 1024;

/// Reads files, and the `.csv` and `.json` files of folders. Faults of form are gathered, not thrown.
///
/// # Errors
/// A path that cannot be read, or no file at all.
pub fn read(paths: &[PathBuf]) -> Result<(Tables, Vec<Fault>), Failure> {
    let mut tables = Tables::new();
    let mut faults = Vec::new();
    let files = files(paths)?;
    if files.is_empty() {
        return Err(Failure::Usage(
            "there is no .csv or .json file there; `forenoon import --columns` lists the files"
                .to_owned(),
        ));
    }
    for path in files {
        let file: Arc<str> = path.display().to_string().into();
        let size = std::fs::metadata(&path)
            .map_err(|error| broken(&path, &error))?
            .len();
        if size > FILE_BYTES_MAX {
            return Err(Failure::BadInput(format!(
                "{file} is larger than {FILE_BYTES_MAX} bytes"
            )));
        }
        let bytes = std::fs::read(&path).map_err(|error| broken(&path, &error))?;
        let stem = path
            .file_stem()
            .and_then(|stem| stem.to_str())
            .unwrap_or("");
        let named = table::named(stem);
        if has_ending(&path, "json") {
            for (table, rows) in json_file::read(named, &file, &bytes, &mut faults) {
                tables.entry(table.name).or_default().extend(rows);
            }
        } else if let Some(table) = named {
            let rows = csv_file::read(table, &file, &bytes, &mut faults);
            tables.entry(table.name).or_default().extend(rows);
        } else {
            faults.push(Fault::new(Place::file(&file), unknown_table(stem)));
        }
    }
    Ok((tables, faults))
}

fn unknown_table(stem: &str) -> String {
    let names = || table::ALL.iter().map(|table: &&Table| table.name);
    match nearest(stem, names()) {
        Some(near) => format!("is named after no table; is {near}.csv meant?"),
        None => format!(
            "is named after no table; name it after one of: {}",
            names().collect::<Vec<_>>().join(", ")
        ),
    }
}

/// The files that paths stand for, folders in the order of their file names.
fn files(paths: &[PathBuf]) -> Result<Vec<PathBuf>, Failure> {
    let mut files = Vec::new();
    for path in paths {
        if !path.is_dir() {
            files.push(path.clone());
            continue;
        }
        let mut inside = Vec::new();
        for entry in std::fs::read_dir(path).map_err(|error| broken(path, &error))? {
            let entry = entry.map_err(|error| broken(path, &error))?.path();
            if has_ending(&entry, "csv") || has_ending(&entry, "json") {
                inside.push(entry);
            }
        }
        inside.sort();
        files.extend(inside);
    }
    Ok(files)
}

fn has_ending(path: &Path, ending: &str) -> bool {
    path.extension()
        .is_some_and(|found| found.eq_ignore_ascii_case(ending))
}

fn broken(path: &Path, error: &std::io::Error) -> Failure {
    Failure::File {
        path: path.display().to_string(),
        cause: error.to_string(),
    }
}
