//! Jobs.

use forenoon_proto::v1::{Capability, Job, JobState, TaskKind, TurfDensity, VisitWindow};

use super::{Cells, amount, flag, number, whole, words};
use crate::names::id;
use crate::output::clock::{date_time, day_plain, time_of_day};
use crate::output::grid::Grid;
use crate::output::measure::length;
use crate::parse::word::word_of;

/// A job as cells. Its state comes last; it is not set by hand.
pub fn job(job: &Job) -> Cells {
    let promise = job.promise.clone().unwrap_or_default();
    let contact = promise.contact.clone().unwrap_or_default();
    let state = job.condition.unwrap_or_default();
    let time = |time: &Option<_>| time.as_ref().map(date_time).unwrap_or_default();
    Cells {
        own: vec![
            ("job_id", id(&job.name).to_owned()),
            ("display_name", job.display_name.clone()),
            ("site", id(&job.site).to_owned()),
            ("window", windows(job)),
            ("priority", whole(job.priority)),
            ("deadline", time(&job.deadline)),
            ("deadline_source", job.deadline_source.clone()),
            ("promise_start", time(&promise.start_time)),
            ("promise_end", time(&promise.end_time)),
            ("promise_before_work", flag(promise.before_work)),
            ("promise_contact_name", contact.display_name),
            ("promise_contact_phone", contact.phone),
            ("skills", job.skills.join("; ")),
            ("price", amount(job.price.as_ref())),
            ("note", job.note.clone()),
            ("area_ids", job.area_ids.join("; ")),
            ("turf_height", length(state.turf_height.as_ref())),
            ("set_height", length(state.set_height.as_ref())),
            ("turf_density", word_of::<TurfDensity>(state.turf_density)),
            ("wet", flag(state.wet)),
            ("edge_overgrowth", length(state.edge_overgrowth.as_ref())),
            ("stem_thickness", length(state.stem_thickness.as_ref())),
            ("heavy_debris", flag(state.heavy_debris)),
            ("first_service", flag(state.first_service)),
            ("state", word_of::<JobState>(job.state)),
            ("cancel_reason", job.cancel_reason.clone()),
        ],
        parts: vec![("tasks", tasks(job))],
    }
}

/// Windows in short, as the column `window` takes them.
fn windows(job: &Job) -> String {
    let windows: Vec<String> = job
        .windows
        .iter()
        .map(|window| {
            let (first, last) = (
                day_plain(window.first_day.as_ref()),
                day_plain(window.last_day.as_ref()),
            );
            let days = if first == last {
                first
            } else {
                format!("{first}..{last}")
            };
            format!("{days} {}", times(window)).trim_end().to_owned()
        })
        .collect();
    windows.join("; ")
}

fn times(window: &VisitWindow) -> String {
    let time = |time: &Option<_>| time.as_ref().map(time_of_day).unwrap_or_default();
    let times: Vec<String> = window
        .times
        .iter()
        .map(|times| format!("{}-{}", time(&times.start_time), time(&times.end_time)))
        .collect();
    times.join(",")
}

fn tasks(job: &Job) -> Grid {
    let mut grid = Grid::new(&[
        "task_id",
        "kind",
        "area_id",
        "capabilities",
        "passes",
        "agreed_minutes",
    ]);
    for task in &job.tasks {
        grid.row([
            task.task_id.clone(),
            word_of::<TaskKind>(task.kind),
            task.area_id.clone(),
            words::<Capability>(&task.capabilities),
            whole(task.passes),
            number(task.agreed_minutes),
        ]);
    }
    grid
}

/// Jobs as rows.
pub fn list(jobs: &[Job]) -> Grid {
    let mut grid = Grid::new(&[
        "job", "name", "site", "priority", "state", "windows", "deadline", "meet",
    ]);
    for job in jobs {
        grid.row([
            id(&job.name).to_owned(),
            job.display_name.clone(),
            id(&job.site).to_owned(),
            whole(job.priority),
            word_of::<JobState>(job.state),
            windows(job),
            job.deadline.as_ref().map(date_time).unwrap_or_default(),
            job.promise
                .as_ref()
                .and_then(|promise| promise.start_time.as_ref())
                .map(date_time)
                .unwrap_or_default(),
        ]);
    }
    grid
}
