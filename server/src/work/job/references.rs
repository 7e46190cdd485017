//! What ties a job to its site.

use forenoon_desk::compose::{CannotCompose, TASKS_MAX, composed};
use forenoon_store::entity::{job, site};
use forenoon_store::value::{Area, JobState, Task, TaskKind, Tasks};

use super::name;
use crate::work::{self, Error, ObstacleKind, Reason, Violation};

/// Checks a job against its site, and composes its tasks where it has none.
///
/// `site` is none where there is no such site.
///
/// # Errors
/// Everything that does not fit, by the job's fields.
pub fn fit_to_site(
    mut row: job::Model,
    site: Option<&site::Model>,
) -> Result<job::Model, Vec<Violation>> {
    let Some(site) = site else {
        let site = work::site::name(&row.branch_id, &row.site_id);
        return Err(vec![violation(
            "job.site",
            Reason::UnknownReference,
            format!("{site} is not there; name a site of the branch"),
        )]);
    };
    let mut found = areas_amiss(&row, site);
    if !found.is_empty() {
        return Err(found);
    }
    if row.tasks.0.is_empty() {
        match composed(&row, site) {
            Ok(composed) if composed.tasks.len() > TASKS_MAX => {
                return Err(vec![too_many(composed.tasks.len())]);
            }
            Ok(composed) => row.tasks = Tasks(composed.tasks),
            Err(causes) => {
                found.extend(causes.iter().map(|cause| not_composed(cause, site)));
                return Err(found);
            }
        }
    }
    Ok(row)
}

/// Refuses to move a job to another site while a crew is at it.
///
/// # Errors
/// The obstacle.
pub fn refuse_moved_while_running(before: &job::Model, after: &job::Model) -> Result<(), Error> {
    if before.state != JobState::Running || before.site_id == after.site_id {
        return Ok(());
    }
    Err(Error::obstacle(
        ObstacleKind::NotOpen,
        name(&before.branch_id, &before.id),
        "a crew is at it; its site cannot change now",
    ))
}

fn areas_amiss(row: &job::Model, site: &site::Model) -> Vec<Violation> {
    let area = |id: &str| site.areas.0.iter().find(|area| area.area_id == id);
    let unknown = |field: String, id: &str| {
        violation(
            field,
            Reason::UnknownReference,
            format!("the site has no area {id}; name one of its areas"),
        )
    };
    let named = row.area_ids.0.iter().enumerate();
    let mut found: Vec<Violation> = named
        .filter(|(_, id)| area(id).is_none())
        .map(|(index, id)| unknown(format!("job.area_ids[{index}]"), id))
        .collect();
    for (index, task) in row.tasks.0.iter().enumerate() {
        let field = format!("job.tasks[{index}].area_id");
        match task.area_id.as_deref().map(|id| (id, area(id))) {
            Some((id, None)) => found.push(unknown(field, id)),
            Some((_, Some(area))) => found.extend(size_amiss(task, area, field)),
            None => found.extend(whole_site_amiss(task, field)),
        }
    }
    found
}

/// An edge is worked by its length; everything else but trimming by a surface.
fn size_amiss(task: &Task, area: &Area, field: String) -> Option<Violation> {
    (task.kind == TaskKind::Edge && area.length_metres.is_none()).then(|| {
        violation(
            field,
            Reason::Conflict,
            "has no length to edge; name a hard edge",
        )
    })
}

/// Edges and trims are of one area: a whole site has no length.
fn whole_site_amiss(task: &Task, field: String) -> Option<Violation> {
    matches!(task.kind, TaskKind::Edge | TaskKind::Trim).then(|| {
        violation(
            field,
            Reason::Required,
            "is empty; edging and trimming are work on one area",
        )
    })
}

fn too_many(tasks: usize) -> Violation {
    violation(
        "job.area_ids",
        Reason::TooMany,
        format!(
            "the areas make {tasks} tasks, a job has {TASKS_MAX} at most; name some of the areas here and the others in another job"
        ),
    )
}

fn not_composed(cause: &CannotCompose, site: &site::Model) -> Violation {
    match cause {
        CannotCompose::NoAreas => violation(
            "job.tasks",
            Reason::Required,
            "is empty, and the site has no area to compose tasks from; give the tasks, or describe the site's areas",
        ),
        CannotCompose::Misdescribed { area, what } => {
            let area = area.and_then(|index| site.areas.0.get(index));
            let words = match area {
                Some(area) => format!("tasks cannot be composed for area {}: {what}", area.area_id),
                None => format!("tasks cannot be composed: {what}"),
            };
            violation("job.tasks", Reason::Conflict, words)
        }
    }
}

fn violation(
    field: impl Into<String>,
    reason: Reason,
    description: impl Into<String>,
) -> Violation {
    Violation {
        field: field.into(),
        reason,
        description: description.into(),
    }
}
