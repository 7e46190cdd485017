//! Tables joined into records.

use std::collections::{BTreeMap, BTreeSet};

use forenoon_proto::v1::import_record::Record;
use forenoon_proto::v1::{
    Absence, Area, Crew, Hazard, ImportRecord, Job, Shift, Site, Task, Unit, VisitWindow, Worker,
};

use super::fault::{Fault, Place};
use super::origin::Origins;
use super::record::{crew, job, site, unit};
use super::row::{Reader, Row};
use super::{Context, Tables, table};
use crate::names::{Collection, resource};
use crate::parse::clock;

/// Records with where they came from.
#[derive(Debug, Default)]
pub struct Gathered {
    /// The records: units first, then crews, workers, sites and jobs.
    pub records: Vec<ImportRecord>,
    /// For each record, where its fields came from.
    pub origins: Vec<Origins>,
    /// What is wrong. Records are only worth sending where this is empty.
    pub faults: Vec<Fault>,
}

/// Joins tables into records. Every fault is gathered.
pub fn gather(tables: &Tables, context: &Context) -> Gathered {
    let mut gathering = Gathering {
        tables,
        context,
        done: Gathered::default(),
    };
    gathering.check_needed();
    gathering.units();
    gathering.crews();
    gathering.workers();
    gathering.sites();
    gathering.jobs();
    gathering.done
}

struct Gathering<'a> {
    tables: &'a Tables,
    context: &'a Context,
    done: Gathered,
}

/// Rows by the id they belong to.
type Parts<'a> = BTreeMap<&'a str, Vec<&'a Row>>;

impl<'a> Gathering<'a> {
    fn rows(&self, table: &str) -> &'a [Row] {
        self.tables.get(table).map_or(&[], Vec::as_slice)
    }

    fn check_needed(&mut self) {
        for table in table::ALL {
            for row in self.rows(table.name) {
                self.done.faults.extend(row.missing(table));
            }
        }
    }

    /// The rows of records, each id once.
    fn owners(&mut self, table: &'static str, id_column: &str) -> Vec<&'a Row> {
        let mut first_lines: BTreeMap<&str, Place> = BTreeMap::new();
        let mut owners = Vec::new();
        for row in self.rows(table) {
            let id = row.text(id_column);
            if id.is_empty() {
                continue;
            }
            if let Some(first) = first_lines.get(id) {
                let reason = format!(
                    "\"{id}\" stands at {}:{} already; ids are unique",
                    first.file, first.line
                );
                self.done
                    .faults
                    .push(Fault::new(row.place(id_column), reason));
            } else {
                first_lines.insert(id, row.place(id_column));
                owners.push(row);
            }
        }
        owners
    }

    /// The rows that belong to records of another table, with a fault for each that belongs to none.
    fn parts(
        &mut self,
        table: &'static str,
        id_column: &str,
        owner_table: &'static str,
    ) -> Parts<'a> {
        let owners: BTreeSet<&str> = self
            .rows(owner_table)
            .iter()
            .map(|row| row.text(id_column))
            .collect();
        let mut parts = Parts::new();
        for row in self.rows(table) {
            let id = row.text(id_column);
            if owners.contains(id) {
                parts.entry(id).or_default().push(row);
            } else if !id.is_empty() {
                let reason = format!(
                    "there is no \"{id}\" in {owner_table}; a row of {table} comes together with the one it belongs to"
                );
                self.done
                    .faults
                    .push(Fault::new(row.place(id_column), reason));
            }
        }
        parts
    }

    fn keep(&mut self, record: Record, origins: Origins) {
        self.done.records.push(ImportRecord {
            record: Some(record),
        });
        self.done.origins.push(origins);
    }

    /// Reads the rows that belong to an id into parts of its record, after those that are there.
    fn read_parts<T: Default>(
        &mut self,
        rows: Option<&Vec<&Row>>,
        field: &str,
        parts: &mut Vec<T>,
        origins: &mut Origins,
        read: impl Fn(&mut Reader<'_>, &mut T),
    ) {
        for row in rows.into_iter().flatten() {
            let mut part = T::default();
            let path = format!("{field}[{}]", parts.len());
            let mut reader = Reader::new(row, path, origins, &mut self.done.faults);
            read(&mut reader, &mut part);
            parts.push(part);
        }
    }

    fn units(&mut self) {
        let absences = self.parts("absences", "unit_id", "units");
        for row in self.owners("units", "unit_id") {
            let id = row.text("unit_id");
            let mut origins = named(row, "unit_id");
            let mut record = Unit {
                name: resource(&self.context.branch, Collection::Units, id),
                ..Unit::default()
            };
            let mut reader = Reader::new(row, String::new(), &mut origins, &mut self.done.faults);
            unit::unit(&mut reader, self.context, &mut record);
            let context = self.context;
            self.read_parts(
                absences.get(id),
                "absences",
                &mut record.absences,
                &mut origins,
                |row, part: &mut Absence| {
                    unit::absence(row, context, part);
                },
            );
            self.keep(Record::Unit(record), origins);
        }
    }

    fn crews(&mut self) {
        let shifts = self.parts("shifts", "crew_id", "crews");
        for row in self.owners("crews", "crew_id") {
            let id = row.text("crew_id");
            let mut origins = named(row, "crew_id");
            let mut record = Crew {
                name: resource(&self.context.branch, Collection::Crews, id),
                ..Crew::default()
            };
            let mut reader = Reader::new(row, String::new(), &mut origins, &mut self.done.faults);
            crew::crew(&mut reader, self.context, &mut record);
            for row in shifts.get(id).into_iter().flatten() {
                self.shifts(row, &mut record.shifts, &mut origins);
            }
            self.keep(Record::Crew(record), origins);
        }
    }

    /// One row of shifts is a shift for each of its days.
    fn shifts(&mut self, row: &Row, shifts: &mut Vec<Shift>, origins: &mut Origins) {
        let days = match clock::days_of_week(row.text("day")) {
            Ok(days) => days,
            Err(reason) => {
                if !row.text("day").is_empty() {
                    self.done.faults.push(Fault::new(row.place("day"), reason));
                }
                return;
            }
        };
        let faults_before = self.done.faults.len();
        for day in days {
            let part = format!("shifts[{}]", shifts.len());
            // A wrong time is one fault, however many days the row stands for.
            self.done.faults.truncate(faults_before);
            let mut shift = Shift {
                day: day.into(),
                ..Shift::default()
            };
            crew::shift(
                &mut Reader::new(row, part, origins, &mut self.done.faults),
                &mut shift,
            );
            shifts.push(shift);
        }
    }

    fn workers(&mut self) {
        for row in self.owners("workers", "worker_id") {
            let mut origins = named(row, "worker_id");
            let mut record = Worker {
                name: resource(
                    &self.context.branch,
                    Collection::Workers,
                    row.text("worker_id"),
                ),
                ..Worker::default()
            };
            let mut reader = Reader::new(row, String::new(), &mut origins, &mut self.done.faults);
            crew::worker(&mut reader, self.context, &mut record);
            self.keep(Record::Worker(record), origins);
        }
    }

    fn sites(&mut self) {
        let areas = self.parts("areas", "site_id", "sites");
        let hazards = self.parts("hazards", "site_id", "sites");
        for row in self.owners("sites", "site_id") {
            let id = row.text("site_id");
            let mut origins = named(row, "site_id");
            let mut record = Site {
                name: resource(&self.context.branch, Collection::Sites, id),
                ..Site::default()
            };
            let mut reader = Reader::new(row, String::new(), &mut origins, &mut self.done.faults);
            site::site(&mut reader, &mut record);
            self.read_parts(
                areas.get(id),
                "areas",
                &mut record.areas,
                &mut origins,
                |row, part: &mut Area| site::area(row, part),
            );
            self.read_parts(
                hazards.get(id),
                "hazards",
                &mut record.hazards,
                &mut origins,
                |row, part: &mut Hazard| {
                    site::hazard(row, part);
                },
            );
            self.keep(Record::Site(record), origins);
        }
    }

    fn jobs(&mut self) {
        let windows = self.parts("visit_windows", "job_id", "jobs");
        let tasks = self.parts("tasks", "job_id", "jobs");
        for row in self.owners("jobs", "job_id") {
            let id = row.text("job_id");
            let mut origins = named(row, "job_id");
            let mut record = Job {
                name: resource(&self.context.branch, Collection::Jobs, id),
                ..Job::default()
            };
            let mut reader = Reader::new(row, String::new(), &mut origins, &mut self.done.faults);
            job::job(&mut reader, self.context, &mut record);
            self.read_parts(
                windows.get(id),
                "windows",
                &mut record.windows,
                &mut origins,
                |row, part: &mut VisitWindow| {
                    job::window(row, part);
                },
            );
            self.read_parts(
                tasks.get(id),
                "tasks",
                &mut record.tasks,
                &mut origins,
                |row, part: &mut Task| job::task(row, part),
            );
            if record.windows.is_empty() {
                let reason = format!(
                    "\"{id}\" has no window, in jobs or in visit_windows; say when it may be done"
                );
                self.done
                    .faults
                    .push(Fault::new(row.place("job_id"), reason));
            }
            self.keep(Record::Job(record), origins);
        }
    }
}

/// The origins of a record whose name comes from an id.
fn named(row: &Row, id_column: &str) -> Origins {
    let mut origins = Origins::new(Place::line(&row.file, row.line));
    origins.put("name".to_owned(), row.place(id_column));
    origins
}

#[cfg(test)]
mod tests;
