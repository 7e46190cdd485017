//! `branch export` and `branch import`: a whole branch as JSON lines.

use std::fs::{self, File};
use std::io::{self, BufRead, BufReader, Write};
use std::path::Path;

use forenoon_proto::v1;

use crate::desk::Desk;
use crate::failure::Failure;
use crate::names::{branch as branch_name, request_id};
use crate::output::grid::Grid;

/// Writes a branch into a new file. One that breaks off is removed.
pub(super) async fn export(desk: &Desk, id: &str, file: &Path) -> Result<(), Failure> {
    let mut out = File::create_new(file).map_err(|cause| fault(file, &cause))?;
    let request = v1::ExportBranchRequest {
        name: branch_name(id),
    };
    let written = desk
        .link
        .export_branch(request, |chunk| {
            out.write_all(chunk).map_err(|cause| fault(file, &cause))
        })
        .await
        .and_then(|bytes| {
            out.sync_all().map_err(|cause| fault(file, &cause))?;
            Ok(bytes)
        });
    match written {
        Ok(bytes) => {
            desk.screen
                .say(&format!("{bytes} bytes written to {}", file.display()));
            Ok(())
        }
        Err(failure) => {
            // What broke off must not be taken for a branch; where it cannot go, its end is missing.
            let _ = fs::remove_file(file);
            Err(failure)
        }
    }
}

/// Brings a branch in from a file.
pub(super) async fn import(desk: &Desk, file: &Path) -> Result<(), Failure> {
    let header = v1::ImportBranchHeader {
        branch_id: id_of(file)?,
        request_id: request_id(),
    };
    let answer = desk.link.import_branch(header, file).await?;
    let row = || {
        let mut grid = Grid::new(&["branch", "rows"]);
        grid.row([answer.name.clone(), answer.rows.to_string()]);
        grid
    };
    desk.screen.answer(&answer, row, |_| {
        format!("{} is in, with {} rows\n", answer.name, answer.rows)
    })
}

/// The branch that the file's first line names.
fn id_of(file: &Path) -> Result<String, Failure> {
    let opened = File::open(file).map_err(|cause| fault(file, &cause))?;
    let mut line = String::new();
    BufReader::new(opened)
        .read_line(&mut line)
        .map_err(|cause| fault(file, &cause))?;
    serde_json::from_str::<serde_json::Value>(&line)
        .ok()
        .and_then(|head| head.get("branch")?.as_str().map(str::to_owned))
        .ok_or_else(|| Failure::BadInput(format!("{} is no exported branch", file.display())))
}

fn fault(file: &Path, cause: &io::Error) -> Failure {
    Failure::File {
        path: file.display().to_string(),
        cause: cause.to_string(),
    }
}
