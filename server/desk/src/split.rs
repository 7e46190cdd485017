//! Doing a part of a job today and the rest on another day, where a tool for some of it is lost.
//!
//! A job is split only where what is left over can wait without harm: debris never lies until another day, and no mower
//! goes where the ground was to be looked at and knocked down first. Common practice, no source.

use std::collections::BTreeMap;

use forenoon_store::entity::{job, plan_stop};
use forenoon_store::value::{JobState, SplitJob, Task, TaskKind};
use forenoon_trade::rates::Rates;

use crate::inputs::DayInputs;
use crate::problem::DayProblem;
use crate::service::ServiceTable;
use crate::stored_plan::StoredPlan;

impl DayInputs {
    /// The day with each job cut to what can still be done of it that the plan does not leave as it was: it drops the
    /// job, or gives it to another crew. None where no such job can be split.
    #[must_use]
    pub fn split(&self, plan: &StoredPlan) -> Option<Self> {
        let (base, _) = self.base.as_ref()?;
        let split: BTreeMap<String, SplitJob> = base
            .parts
            .stops
            .iter()
            .filter(|stop| {
                plan.stop_of(&stop.job_id)
                    .is_none_or(|new| new.crew_id != stop.crew_id)
            })
            .filter_map(|stop| {
                let job = self.jobs.iter().find(|job| job.id == stop.job_id)?;
                Some((job.id.clone(), self.split_of(stop, job)?))
            })
            .collect();
        if split.is_empty() {
            return None;
        }
        let mut part = Self {
            split,
            ..self.clone()
        };
        for job in &mut part.jobs {
            if let Some(split) = part.split.get(&job.id) {
                job.tasks
                    .0
                    .retain(|task| split.today.contains(&task.task_id));
            }
        }
        Some(part)
    }

    /// How a stop's job would be split; none where it has begun, has lost no tool, or had better stay whole.
    fn split_of(&self, stop: &plan_stop::Model, job: &job::Model) -> Option<SplitJob> {
        let begun = stop.fixed
            || self.visit_of(stop).is_some()
            || self.continued.contains_key(&stop.job_id)
            || self
                .base
                .as_ref()
                .is_none_or(|(_, from)| stop.start_time <= *from);
        if begun || job.state != JobState::Open {
            return None;
        }
        let lost = |task: &Task| {
            stop.tasks.0.iter().any(|planned| {
                planned.task_id == task.task_id
                    && planned.unit_ids.iter().any(|unit| {
                        self.is_kept_in(unit) || self.forbidden(unit).contains(&task.kind)
                    })
            })
        };
        let mut later: Vec<&Task> = Vec::new();
        for task in &job.tasks.0 {
            let waits = later
                .iter()
                .any(|left| left.area_id == task.area_id && comes_first(left.kind, task.kind));
            if waits || lost(task) {
                later.push(task);
            }
        }
        if later.is_empty() || later.iter().any(|task| tidies(task.kind)) {
            return None;
        }
        let goes_on = |task: &&Task| !later.iter().any(|left| left.task_id == task.task_id);
        let today: Vec<&Task> = job.tasks.0.iter().filter(goes_on).collect();
        if !today.iter().any(|task| cuts(task.kind)) {
            return None;
        }
        let rest = job
            .tasks
            .0
            .iter()
            .filter(|task| tidies(task.kind) || walks(task.kind) || !goes_on(task));
        Some(SplitJob {
            job_id: job.id.clone(),
            today: today.iter().map(|task| task.task_id.clone()).collect(),
            later: rest.map(|task| task.task_id.clone()).collect(),
        })
    }
}

/// Whether what is left of a job for another day is a first service too: it is one where it edges, as nobody has cut those
/// edges before, or goes where nobody works today. The rest of what is worked on today was looked at and begun.
#[must_use]
pub fn is_first_service(job: &job::Model, parts: &SplitJob) -> bool {
    let of = |ids: &[String]| -> Vec<&Task> {
        let tasks = job.tasks.0.iter();
        tasks.filter(|task| ids.contains(&task.task_id)).collect()
    };
    let (today, later) = (of(&parts.today), of(&parts.later));
    let is_begun = |area: &String| {
        let mut worked = today.iter().filter_map(|task| task.area_id.as_ref());
        worked.any(|one| one == area)
    };
    job.condition.first_service
        && later.iter().any(|task| {
            task.kind == TaskKind::Edge || task.area_id.as_ref().is_some_and(|area| !is_begun(area))
        })
}

/// What the work left for another day weighs, minor units: of what it costs to leave the whole job out, the share that
/// its minutes have of the job's.
#[must_use]
pub fn left_cost(
    (inputs, day): (&DayInputs, &DayProblem),
    (part, of_part): (&DayInputs, &DayProblem),
) -> i64 {
    let rates = Rates::default();
    let minutes = |inputs: &DayInputs, services: &ServiceTable<'_>, id: &str| {
        let job = inputs.jobs.iter().find(|job| job.id == id)?;
        Some(services.usual_minutes(job))
    };
    let services = (day.services(inputs, &rates), of_part.services(part, &rates));
    part.split
        .keys()
        .filter_map(|id| {
            let penalty = day.penalty_of(id)?;
            let all = minutes(inputs, &services.0, id)?;
            let some = minutes(part, &services.1, id)?;
            let share = (1.0 - some / all.max(f64::MIN_POSITIVE)).clamp(0.0, 1.0);
            #[expect(clippy::cast_possible_truncation, reason = "a share of what fits")]
            let cost = (penalty as f64 * share).round() as i64;
            Some(cost)
        })
        .sum()
}

/// Whether work of one kind has to come before work of another on the same ground.
const fn comes_first(first: TaskKind, then: TaskKind) -> bool {
    match then {
        TaskKind::Mow => matches!(first, TaskKind::KnockDown | TaskKind::CutBrush),
        TaskKind::SecondPass => matches!(
            first,
            TaskKind::KnockDown | TaskKind::CutBrush | TaskKind::Mow
        ),
        _ => false,
    }
}

const fn cuts(kind: TaskKind) -> bool {
    matches!(
        kind,
        TaskKind::KnockDown
            | TaskKind::CutBrush
            | TaskKind::Edge
            | TaskKind::Trim
            | TaskKind::Mow
            | TaskKind::SecondPass
    )
}

/// Work that clears up after other work: both parts have it.
const fn tidies(kind: TaskKind) -> bool {
    matches!(kind, TaskKind::Collect | TaskKind::BlowOff)
}

/// Walks over the site: both parts have them.
const fn walks(kind: TaskKind) -> bool {
    matches!(kind, TaskKind::WalkBefore | TaskKind::WalkAfter)
}
