//! Crews and workers.

use forenoon_proto::google::r#type::{DayOfWeek, TimeOfDay};
use forenoon_proto::v1::{Crew, Role, Shift, Worker};

use super::{Cells, amount, degrees, stretch, words};
use crate::names::id;
use crate::output::clock::time_of_day;
use crate::output::grid::Grid;
use crate::parse::word::word_of;

/// A crew as cells. Its size and skills come last; they follow from its workers.
pub fn crew(crew: &Crew) -> Cells {
    let mut shifts = Grid::new(&["day", "start_time", "end_time"]);
    for shift in &crew.shifts {
        shifts.row([
            word_of::<DayOfWeek>(shift.day),
            time(shift.start_time.as_ref()),
            time(shift.end_time.as_ref()),
        ]);
    }
    let (latitude, longitude) = degrees(crew.base.as_ref());
    Cells {
        own: vec![
            ("crew_id", id(&crew.name).to_owned()),
            ("display_name", crew.display_name.clone()),
            ("vehicle", id(&crew.vehicle).to_owned()),
            ("trailer", id(&crew.trailer).to_owned()),
            ("overtime_allowed", stretch(crew.overtime_allowed.as_ref())),
            ("break_length", stretch(crew.break_length.as_ref())),
            ("base_latitude", latitude),
            ("base_longitude", longitude),
            ("size", crew.size.to_string()),
            ("skills", crew.skills.join("; ")),
        ],
        parts: vec![("shifts", shifts)],
    }
}

fn time(time: Option<&TimeOfDay>) -> String {
    time.map(time_of_day).unwrap_or_default()
}

/// Crews as rows.
pub fn list(crews: &[Crew]) -> Grid {
    let mut grid = Grid::new(&[
        "crew", "name", "workers", "skills", "vehicle", "trailer", "shifts",
    ]);
    for crew in crews {
        grid.row([
            id(&crew.name).to_owned(),
            crew.display_name.clone(),
            crew.size.to_string(),
            crew.skills.join("; "),
            id(&crew.vehicle).to_owned(),
            id(&crew.trailer).to_owned(),
            shifts_words(&crew.shifts),
        ]);
    }
    grid
}

/// Shifts on one line, days with the same times together: `mon tue wed 06:30-15:00`.
fn shifts_words(shifts: &[Shift]) -> String {
    let mut groups: Vec<(String, Vec<String>)> = Vec::new();
    for shift in shifts {
        let times = format!(
            "{}-{}",
            time(shift.start_time.as_ref()),
            time(shift.end_time.as_ref())
        );
        let day: String = word_of::<DayOfWeek>(shift.day).chars().take(3).collect();
        match groups.iter_mut().find(|(known, _)| *known == times) {
            Some((_, days)) => days.push(day),
            None => groups.push((times, vec![day])),
        }
    }
    let words: Vec<String> = groups
        .iter()
        .map(|(times, days)| format!("{} {times}", days.join(" ")))
        .collect();
    words.join("; ")
}

/// A worker as cells.
pub fn worker(worker: &Worker) -> Cells {
    Cells {
        own: vec![
            ("worker_id", id(&worker.name).to_owned()),
            ("display_name", worker.display_name.clone()),
            ("crew", id(&worker.crew).to_owned()),
            ("roles", words::<Role>(&worker.roles)),
            ("skills", worker.skills.join("; ")),
            ("phone", worker.phone.clone()),
            ("cost_per_hour", amount(worker.cost_per_hour.as_ref())),
        ],
        parts: Vec::new(),
    }
}

/// Workers as rows.
pub fn list_workers(workers: &[Worker]) -> Grid {
    let mut grid = Grid::new(&["worker", "name", "crew", "roles", "skills", "phone"]);
    for worker in workers {
        grid.row([
            id(&worker.name).to_owned(),
            worker.display_name.clone(),
            id(&worker.crew).to_owned(),
            words::<Role>(&worker.roles),
            worker.skills.join("; "),
            worker.phone.clone(),
        ]);
    }
    grid
}
