//! The demo branch as the files that `forenoon import` reads: a table of each kind, as a company would keep them.

mod text;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use forenoon_proto::v1::import_record::Record;
use forenoon_proto::v1::{
    Area, AreaKind, AreaShape, Capability, Clippings, Crew, Hazard, Job, Obstacles, Role, Site,
    Task, TaskKind, TurfDensity, Unit, UnitKind, VisitWindow, Worker,
};

use super::DemoBranch;
use crate::failure::Failure;
use crate::import::table::{self, Table};
use crate::names::id;
use crate::parse::word::word_of;

/// Rows by table, in the order in which they were written.
type Tables = BTreeMap<&'static str, Vec<Line>>;

/// One row: the cells that say something.
struct Line(BTreeMap<&'static str, String>);

impl Line {
    fn new(column: &'static str, text: &str) -> Self {
        Self(BTreeMap::new()).put(column, text)
    }

    fn put(mut self, column: &'static str, text: impl Into<String>) -> Self {
        let text = text.into();
        if !text.is_empty() {
            self.0.insert(column, text);
        }
        self
    }

    fn flag(self, column: &'static str, flag: bool) -> Self {
        self.put(column, if flag { "yes" } else { "" })
    }

    /// A number, left out where it is nought: that is what an empty cell means.
    fn number(self, column: &'static str, number: f64) -> Self {
        let text = if number == 0.0 {
            String::new()
        } else {
            number.to_string()
        };
        self.put(column, text)
    }
}

/// Writes the branch's records into a folder, a CSV file a table, and gives the files.
///
/// # Errors
/// A file that can't be written.
pub fn write(demo: &DemoBranch, folder: &Path) -> Result<Vec<PathBuf>, Failure> {
    let mut tables = Tables::new();
    for record in demo
        .records
        .iter()
        .filter_map(|record| record.record.as_ref())
    {
        match record {
            Record::Unit(record) => unit(&mut tables, record),
            Record::Crew(record) => crew(&mut tables, record),
            Record::Worker(record) => worker(&mut tables, record),
            Record::Site(record) => site(&mut tables, record),
            Record::Job(record) => job(&mut tables, record),
        }
    }
    std::fs::create_dir_all(folder).map_err(|cause| file_failure(folder, &cause))?;
    let mut files = Vec::new();
    for table in table::ALL {
        let Some(lines) = tables.get(table.name) else {
            continue;
        };
        let path = folder.join(format!("{}.csv", table.name));
        write_table(table, lines, &path).map_err(|cause| file_failure(&path, &cause))?;
        files.push(path);
    }
    Ok(files)
}

/// Columns that no row fills are left out.
fn write_table(table: &Table, lines: &[Line], path: &Path) -> Result<(), csv::Error> {
    let used = |name: &&str| lines.iter().any(|line| line.0.contains_key(name));
    let columns: Vec<&str> = table
        .columns
        .iter()
        .map(|column| column.name)
        .filter(used)
        .collect();
    let mut writer = csv::Writer::from_path(path)?;
    writer.write_record(&columns)?;
    for line in lines {
        writer.write_record(
            columns
                .iter()
                .map(|column| line.0.get(column).map_or("", String::as_str)),
        )?;
    }
    writer.flush()?;
    Ok(())
}

/// An amount as the command line takes it.
pub(super) fn amount(money: Option<&forenoon_proto::google::r#type::Money>) -> String {
    text::money(money)
}

fn file_failure(path: &Path, cause: &impl ToString) -> Failure {
    Failure::File {
        path: path.display().to_string(),
        cause: cause.to_string(),
    }
}

fn push(tables: &mut Tables, table: &Table, line: Line) {
    tables.entry(table.name).or_default().push(line);
}

fn unit(tables: &mut Tables, unit: &Unit) {
    let unit_id = id(&unit.name);
    let line = Line::new("unit_id", unit_id)
        .put("display_name", &unit.display_name)
        .put("serial_number", &unit.serial_number)
        .put("model", &unit.model)
        .put("kind", word_of::<UnitKind>(unit.kind))
        .put(
            "capabilities",
            text::words::<Capability>(&unit.capabilities),
        )
        .put("coupling", &unit.coupling)
        .put("cutting_width", text::length(unit.cutting_width.as_ref()))
        .put("machine_width", text::length(unit.machine_width.as_ref()))
        .number("max_slope_percent", unit.max_slope_percent)
        .put("load_space", text::volume(unit.load_space.as_ref()))
        .put("carries", text::volume(unit.carries.as_ref()))
        .put("bag", text::volume(unit.bag.as_ref()))
        .put("purchase_price", text::money(unit.purchase_price.as_ref()))
        .number("run_hours", unit.run_hours)
        .number("service_interval_hours", unit.service_interval_hours)
        .number("noise_dba", unit.noise_dba)
        .number("vibration", unit.vibration)
        .flag("retired", unit.retired);
    push(tables, &table::UNITS, line);
    for absence in &unit.absences {
        let line = Line::new("unit_id", unit_id)
            .put("start_time", text::moment(absence.start_time.as_ref()))
            .put("end_time", text::moment(absence.end_time.as_ref()))
            .put("reason", &absence.reason);
        push(tables, &table::ABSENCES, line);
    }
}

fn crew(tables: &mut Tables, crew: &Crew) {
    let crew_id = id(&crew.name);
    let line = Line::new("crew_id", crew_id)
        .put("display_name", &crew.display_name)
        .put("vehicle", id(&crew.vehicle))
        .put("trailer", id(&crew.trailer))
        .put(
            "overtime_allowed",
            text::minutes(crew.overtime_allowed.as_ref()),
        )
        .put("break_length", text::minutes(crew.break_length.as_ref()))
        .number("base_latitude", crew.base.map_or(0.0, |base| base.latitude))
        .number(
            "base_longitude",
            crew.base.map_or(0.0, |base| base.longitude),
        );
    push(tables, &table::CREWS, line);
    for (days, start_time, end_time) in text::shifts(&crew.shifts) {
        let line = Line::new("crew_id", crew_id)
            .put("day", days)
            .put("start_time", start_time)
            .put("end_time", end_time);
        push(tables, &table::SHIFTS, line);
    }
}

fn worker(tables: &mut Tables, worker: &Worker) {
    let line = Line::new("worker_id", id(&worker.name))
        .put("display_name", &worker.display_name)
        .put("crew", id(&worker.crew))
        .put("roles", text::words::<Role>(&worker.roles))
        .put("skills", worker.skills.join("; "))
        .put("phone", &worker.phone)
        .put("cost_per_hour", text::money(worker.cost_per_hour.as_ref()));
    push(tables, &table::WORKERS, line);
}

fn site(tables: &mut Tables, site: &Site) {
    let site_id = id(&site.name);
    let contact = site.contact.clone().unwrap_or_default();
    let location = site.location.unwrap_or_default();
    let line = Line::new("site_id", site_id)
        .put("display_name", &site.display_name)
        .put("customer", &site.customer)
        .put("contact_name", contact.display_name)
        .put("contact_phone", contact.phone)
        .put("contact_email", contact.email)
        .put("address", &site.address)
        .number("latitude", location.latitude)
        .number("longitude", location.longitude)
        .put("clippings", word_of::<Clippings>(site.clippings))
        .put("clippings_note", &site.clippings_note)
        .put("quiet_until", text::clock(site.quiet_until.as_ref()))
        .flag("sensitive", site.sensitive)
        .put("access_note", &site.access_note);
    push(tables, &table::SITES, line);
    for part in &site.areas {
        push(tables, &table::AREAS, area(site_id, part));
    }
    for part in &site.hazards {
        push(tables, &table::HAZARDS, hazard(site_id, part));
    }
}

fn area(site_id: &str, area: &Area) -> Line {
    Line::new("site_id", site_id)
        .put("area_id", &area.area_id)
        .put("display_name", &area.display_name)
        .put("kind", word_of::<AreaKind>(area.kind))
        .put("surface", text::surface(area.surface.as_ref()))
        .put("length", text::length(area.length.as_ref()))
        .number("slope_percent", area.slope_percent)
        .put("narrowest_gate", text::length(area.narrowest_gate.as_ref()))
        .put("obstacles", word_of::<Obstacles>(area.obstacles))
        .put("shape", word_of::<AreaShape>(area.shape))
}

fn hazard(site_id: &str, hazard: &Hazard) -> Line {
    Line::new("site_id", site_id)
        .put("hazard_id", &hazard.hazard_id)
        .put("description", &hazard.description)
        .number("latitude", hazard.location.map_or(0.0, |at| at.latitude))
        .number("longitude", hazard.location.map_or(0.0, |at| at.longitude))
        .put("area_id", &hazard.area_id)
}

fn job(tables: &mut Tables, job: &Job) {
    let job_id = id(&job.name);
    let promise = job.promise.clone().unwrap_or_default();
    let contact = promise.contact.unwrap_or_default();
    let state = job.condition.unwrap_or_default();
    let line = Line::new("job_id", job_id)
        .put("display_name", &job.display_name)
        .put("site", id(&job.site))
        .number("priority", f64::from(job.priority))
        .put("deadline", text::wall(job.deadline.as_ref()))
        .put("deadline_source", &job.deadline_source)
        .put("promise_start", text::wall(promise.start_time.as_ref()))
        .put("promise_end", text::wall(promise.end_time.as_ref()))
        .flag("promise_before_work", promise.before_work)
        .put("promise_contact_name", contact.display_name)
        .put("promise_contact_phone", contact.phone)
        .put("skills", job.skills.join("; "))
        .put("price", text::money(job.price.as_ref()))
        .put("note", &job.note)
        .put("area_ids", job.area_ids.join("; "))
        .put("turf_height", text::length(state.turf_height.as_ref()))
        .put("set_height", text::length(state.set_height.as_ref()))
        .put("turf_density", word_of::<TurfDensity>(state.turf_density))
        .flag("wet", state.wet)
        .put(
            "edge_overgrowth",
            text::length(state.edge_overgrowth.as_ref()),
        )
        .put(
            "stem_thickness",
            text::length(state.stem_thickness.as_ref()),
        )
        .flag("heavy_debris", state.heavy_debris)
        .flag("first_service", state.first_service);
    push(tables, &table::JOBS, line);
    for part in &job.windows {
        push(tables, &table::VISIT_WINDOWS, window(job_id, part));
    }
    for part in &job.tasks {
        push(tables, &table::TASKS, task(job_id, part));
    }
}

fn window(job_id: &str, window: &VisitWindow) -> Line {
    Line::new("job_id", job_id)
        .put("first_day", text::day(window.first_day.as_ref()))
        .put("last_day", text::day(window.last_day.as_ref()))
        .put("times", text::day_times(&window.times))
}

fn task(job_id: &str, task: &Task) -> Line {
    Line::new("job_id", job_id)
        .put("task_id", &task.task_id)
        .put("kind", word_of::<TaskKind>(task.kind))
        .put("area_id", &task.area_id)
        .put(
            "capabilities",
            text::words::<Capability>(&task.capabilities),
        )
        .number("passes", f64::from(task.passes))
        .number("agreed_minutes", task.agreed_minutes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::import::{Context, gather, read};
    use chrono::NaiveDate;

    #[test]
    fn what_is_written_is_read_back_the_same() {
        let folder = tempfile::tempdir().unwrap();
        // A Friday before the clocks change, so that days and instants are put to the test.
        let first_day = NaiveDate::from_ymd_opt(2027, 3, 12).unwrap();
        let demo = crate::demo::branch(7, first_day);
        let files = write(&demo, folder.path()).unwrap();
        assert_eq!(files.len(), table::ALL.len());
        let (tables, faults) = read(&[folder.path().to_owned()]).unwrap();
        assert_eq!(faults, []);
        let context = Context {
            branch: demo.branch.name.clone(),
            currency: demo.branch.currency_code.clone(),
            zone: demo.branch.time_zone.parse().unwrap(),
        };
        let gathered = gather(&tables, &context);
        assert_eq!(gathered.faults, []);
        assert_eq!(gathered.records.len(), demo.records.len());
        for record in &demo.records {
            assert!(gathered.records.contains(record), "{record:?}");
        }
    }

    #[test]
    fn a_folder_that_cannot_be_made_is_named() {
        let folder = tempfile::tempdir().unwrap();
        let taken = folder.path().join("taken");
        std::fs::write(&taken, "a file").unwrap();
        let demo = crate::demo::branch(7, NaiveDate::from_ymd_opt(2027, 4, 20).unwrap());
        let failure = write(&demo, &taken).unwrap_err();
        assert!(failure.to_string().contains("taken"), "{failure}");
    }
}
