//! `import`: data from files, all or nothing.

use std::path::PathBuf;

use forenoon_proto::v1::ImportRecordsResponse;

use crate::desk::Desk;
use crate::failure::Failure;
use crate::import::fault::Fault;
use crate::import::table::{ALL, Table};
use crate::import::{gather, keep, read, send, stored};
use crate::output::faults;
use crate::output::grid::Grid;
use crate::output::screen::{Format, Screen};
use crate::output::text;

/// How `import` is written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Reads units.csv, absences.csv, crews.csv, shifts.csv, workers.csv, sites.csv, areas.csv, hazards.csv,\n\
                        jobs.csv, visit_windows.csv and tasks.csv, or .json files of the same tables. Every bad row is told\n\
                        with its file, line, column and reason; nothing is stored unless everything is right. A record whose\n\
                        id is there already is replaced; its shifts, absences, areas and hazards stay where none of the files is\n\
                        a table of them, and hazards of cases always.\n\n\
                        Examples:\n  forenoon import --columns\n  forenoon import branch-data/ --branch north --check\n  \
                        forenoon import jobs.csv visit_windows.csv --branch north"
)]
pub struct Args {
    /// Files, or folders of files
    #[arg(value_name = "FILE | FOLDER", required_unless_present = "columns")]
    paths: Vec<PathBuf>,
    /// Only check: here and by the server, storing nothing
    #[arg(long)]
    check: bool,
    /// List the files and their columns
    #[arg(long)]
    columns: bool,
}

pub(super) async fn run(desk: &Desk, args: &Args) -> Result<(), Failure> {
    if args.columns {
        return print_columns(desk, ALL);
    }
    let desk = desk.at_branch().await?;
    let busy = desk.screen.busy("reading files");
    let (tables, mut found) = read(&args.paths)?;
    let mut gathered = gather(&tables, &desk.context());
    found.extend(gathered.faults);
    if !found.is_empty() {
        drop(busy);
        return Err(refuse(&desk.screen, &found));
    }
    busy.now("checking with the server");
    let parent = desk.parent();
    let before = stored(&desk.link, &parent, &tables).await?;
    keep(&tables, &before, &mut gathered.records);
    let checked = send::check(&desk.link, &parent, &gathered.records, &gathered.origins).await?;
    if !checked.faults.is_empty() {
        drop(busy);
        return Err(refuse(&desk.screen, &checked.faults));
    }
    if args.check {
        drop(busy);
        return tell(&desk.screen, true, &checked.answer);
    }
    busy.now("storing");
    let answer = send::store(&desk.link, &parent, gathered.records).await?;
    drop(busy);
    tell(&desk.screen, false, &answer)
}

/// Prints faults and makes the failure that ends the command.
fn refuse(screen: &Screen, found: &[Fault]) -> Failure {
    let text = match screen.format {
        Format::Table => faults::grid(found).table(screen.width),
        Format::Plain => faults::grid(found).plain(),
        Format::Json => faults::json(found),
    };
    if let Err(failure) = screen.print(&text) {
        return failure;
    }
    let number = found.len();
    let faults = if number == 1 { "fault" } else { "faults" };
    Failure::BadInput(format!("{number} {faults}; nothing is stored"))
}

fn tell(screen: &Screen, is_check: bool, answer: &ImportRecordsResponse) -> Result<(), Failure> {
    screen.print(&match screen.format {
        Format::Table => words(is_check, answer),
        Format::Plain => format!(
            "{}\t{}\t{}\t{}\t{}\n",
            answer.created,
            answer.updated,
            answer.removed_hazards,
            answer.removed_shifts,
            answer.removed_absences
        ),
        Format::Json => format!(
            "{}\n",
            serde_json::json!({
                "created": answer.created,
                "updated": answer.updated,
                "removedHazards": answer.removed_hazards,
                "removedShifts": answer.removed_shifts,
                "removedAbsences": answer.removed_absences,
            })
        ),
    })
}

/// What came of an import, or would; and what stored records lose by it.
fn words(is_check: bool, answer: &ImportRecordsResponse) -> String {
    let (are, go) = if is_check {
        ("would be", "would go")
    } else {
        ("are", "are gone")
    };
    let mut words = format!(
        "{} records {are} new, {} {are} replaced.\n",
        answer.created, answer.updated
    );
    let lost: Vec<String> = [
        (answer.removed_hazards, "hazard"),
        (answer.removed_shifts, "shift"),
        (answer.removed_absences, "absence"),
    ]
    .into_iter()
    .filter_map(|(count, what)| usize::try_from(count).ok().map(|count| (count, what)))
    .filter(|(count, _)| *count > 0)
    .map(|(count, what)| text::count(count, what))
    .collect();
    if !lost.is_empty() {
        text::add(
            &mut words,
            format_args!("Of those replaced, {} {go}.\n", lost.join(", ")),
        );
    }
    words
}

/// Lists tables with their columns.
pub(super) fn print_columns(desk: &Desk, tables: &[&Table]) -> Result<(), Failure> {
    let mut grid = Grid::new(&["file", "column", "must", "what it holds"]);
    for table in tables {
        for column in table.columns {
            let words = column
                .words
                .map_or_else(String::new, |words| format!(": {}", words().join(", ")));
            grid.row([
                format!("{}.csv", table.name),
                column.name.to_owned(),
                if column.needed { "yes" } else { "" }.to_owned(),
                format!("{}{words}", column.about),
            ]);
        }
    }
    match desk.screen.format {
        Format::Plain => desk.screen.print(&grid.plain()),
        Format::Json => desk.screen.print(&columns_json(tables)),
        Format::Table => {
            for table in tables {
                let mut part = Grid::new(&["column", "must", "what it holds"]);
                part.rows = grid
                    .rows
                    .iter()
                    .filter(|row| {
                        row.first()
                            .is_some_and(|file| *file == format!("{}.csv", table.name))
                    })
                    .map(|row| row.iter().skip(1).cloned().collect())
                    .collect();
                let title = crate::output::paint::strong(&format!("{}.csv", table.name));
                desk.screen.print(&format!(
                    "{title}: a row is {}\n{}\n",
                    table.row,
                    part.table(desk.screen.width)
                ))?;
            }
            Ok(())
        }
    }
}

fn columns_json(tables: &[&Table]) -> String {
    let tables: Vec<_> = tables
        .iter()
        .map(|table| {
            let columns: Vec<_> = table
                .columns
                .iter()
                .map(|column| {
                    serde_json::json!({
                        "name": column.name,
                        "needed": column.needed,
                        "about": column.about,
                        "words": column.words.map(|words| words()),
                    })
                })
                .collect();
            serde_json::json!({"name": table.name, "row": table.row, "columns": columns})
        })
        .collect();
    format!("{:#}\n", serde_json::json!({ "tables": tables }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_stored_records_lose_is_told() {
        let mut answer = ImportRecordsResponse {
            created: 1,
            updated: 4,
            ..ImportRecordsResponse::default()
        };
        assert_eq!(
            words(true, &answer),
            "1 records would be new, 4 would be replaced.\n"
        );
        answer.removed_hazards = 1;
        answer.removed_absences = 12;
        assert_eq!(
            words(true, &answer),
            "1 records would be new, 4 would be replaced.\n\
             Of those replaced, 1 hazard, 12 absences would go.\n"
        );
        assert!(words(false, &answer).ends_with("12 absences are gone.\n"));
    }
}
