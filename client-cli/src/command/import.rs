//! `import`: data from files, all or nothing.

use std::path::PathBuf;

use crate::desk::Desk;
use crate::failure::Failure;
use crate::import::fault::Fault;
use crate::import::table::{ALL, Table};
use crate::import::{gather, read, send};
use crate::output::faults;
use crate::output::grid::Grid;
use crate::output::screen::{Format, Screen};

/// How `import` is written.
#[derive(Debug, clap::Args)]
#[command(
    after_help = "Reads units.csv, absences.csv, crews.csv, shifts.csv, workers.csv, sites.csv, areas.csv, hazards.csv,\n\
                        jobs.csv, visit_windows.csv and tasks.csv, or .json files of the same tables. Every bad row is told\n\
                        with its file, line, column and reason; nothing is stored unless everything is right. A record whose\n\
                        id is there already is replaced.\n\n\
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
    let gathered = gather(&tables, &desk.context());
    found.extend(gathered.faults);
    if !found.is_empty() {
        drop(busy);
        return Err(refuse(&desk.screen, &found));
    }
    busy.now("checking with the server");
    let parent = desk.parent();
    let checked = send::check(&desk.link, &parent, &gathered.records, &gathered.origins).await?;
    if !checked.faults.is_empty() {
        drop(busy);
        return Err(refuse(&desk.screen, &checked.faults));
    }
    if args.check {
        drop(busy);
        return tell(&desk.screen, "would be", checked.created, checked.updated);
    }
    busy.now("storing");
    let stored = send::store(&desk.link, &parent, gathered.records).await?;
    drop(busy);
    tell(&desk.screen, "are", stored.created, stored.updated)
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

fn tell(screen: &Screen, are: &str, created: i32, updated: i32) -> Result<(), Failure> {
    screen.print(&match screen.format {
        Format::Table => format!("{created} records {are} new, {updated} {are} replaced.\n"),
        Format::Plain => format!("{created}\t{updated}\n"),
        Format::Json => format!(
            "{}\n",
            serde_json::json!({"created": created, "updated": updated})
        ),
    })
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
