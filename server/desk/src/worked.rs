//! Work of a day that no stop of a later plan has any more: it was done before its job was broken off or given up, or with a
//! unit that was tagged out since. What people were exposed to in it stays with them for the day.

use forenoon_store::entity::{plan_stop, visit};
use forenoon_store::value::{PlannedTask, Worked};

use crate::inputs::DayInputs;
use crate::stored_plan::StoredPlan;
use crate::visit::stood_still;

/// A whole task.
const WHOLE: i64 = 1_000;

impl DayInputs {
    /// Work that is over and that no stop of a plan made from here has: what was known by the plan gone on from, and what
    /// was done at its stops that are broken off or given up since.
    pub(crate) fn worked(&self) -> Vec<Worked> {
        let Some((base, _)) = &self.base else {
            return Vec::new();
        };
        let known = base.plan.proposal.iter().flat_map(|facts| &facts.worked);
        let since = base.parts.stops.iter().filter_map(|stop| {
            let tasks = if self.continued.contains_key(&stop.job_id) {
                self.before_break(base, stop)
            } else {
                let visit = self.given_up(&stop.job_id);
                self.before_giving_up(stop, visit.filter(|visit| visit.crew_id == stop.crew_id)?)
            };
            of_stop(stop, tasks)
        });
        known.cloned().chain(since).collect()
    }

    /// What a crew has worked so.
    pub(crate) fn worked_by(&self, crew: &str) -> Vec<PlannedTask> {
        let of_crew = self.worked().into_iter().filter(|one| one.crew_id == crew);
        of_crew.flat_map(|one| one.tasks).collect()
    }

    /// A stop's tasks, but for those that are known with more units than the stop names: they were done with one that was
    /// tagged out since, and [`Self::worked`] has them whole.
    pub(crate) fn named<'a>(
        &'a self,
        stop: &'a plan_stop::Model,
    ) -> impl Iterator<Item = &'a PlannedTask> {
        let tasks = stop.tasks.0.iter();
        tasks.filter(move |task| self.names(stop, task))
    }

    /// Whether a stop has one of its tasks with all the units that it was done with.
    fn names(&self, stop: &plan_stop::Model, task: &PlannedTask) -> bool {
        let facts = self.base.iter().flat_map(|(base, _)| &base.plan.proposal);
        let mut known = facts
            .flat_map(|facts| &facts.worked)
            .filter(|one| one.job_id == stop.job_id && one.crew_id == stop.crew_id)
            .flat_map(|one| &one.tasks);
        !known.any(|known| {
            known.task_id == task.task_id
                && known.unit_ids.len() > task.unit_ids.len()
                && task
                    .unit_ids
                    .iter()
                    .all(|unit| known.unit_ids.contains(unit))
        })
    }

    /// What was done of a stop's tasks before it was broken off.
    fn before_break(&self, base: &StoredPlan, stop: &plan_stop::Model) -> Vec<PlannedTask> {
        let rests = base.plan.proposal.iter().flat_map(|facts| &facts.continued);
        let mut rests = rests.filter(|left| left.job_id == stop.job_id);
        let rest = rests.next();
        let planned = |task: &PlannedTask| {
            let left = rest.and_then(|rest| {
                let mut tasks = rest.tasks.iter();
                tasks.find(|left| left.task_id == task.task_id)
            });
            left.map_or(WHOLE, |left| left.permille)
        };
        let tasks = self.named(stop).map(|task| {
            let left = self.left_of(&stop.job_id, &task.task_id);
            let planned = planned(task).max(1);
            part(task, (planned - left).max(0), planned)
        });
        tasks.collect()
    }

    /// What was done of a stop's tasks, one after the other, before its crew gave up.
    fn before_giving_up(&self, stop: &plan_stop::Model, visit: &visit::Model) -> Vec<PlannedTask> {
        let (Some(start), Some(end)) = (visit.start_time, visit.finish_time) else {
            return Vec::new();
        };
        let mut worked = (end - start).num_seconds() - stood_still(visit, start, end);
        let tasks = stop.tasks.0.iter().filter_map(|task| {
            let planned = i64::from(task.duration_seconds).max(1);
            let done = worked.clamp(0, planned);
            // What is known already took its time all the same.
            worked -= done;
            self.names(stop, task).then(|| part(task, done, planned))
        });
        tasks.collect()
    }
}

/// Work of stops that have begun with units which the later plan must not name: they were tagged out since.
pub(crate) fn with_units_gone(
    inputs: &DayInputs,
    before: &StoredPlan,
    after: &StoredPlan,
) -> Vec<Worked> {
    let stops = after.parts.stops.iter().filter(|stop| stop.fixed);
    stops
        .filter_map(|stop| {
            let earlier = before.stop_of(&stop.job_id)?;
            let gone = earlier.tasks.0.iter().zip(&stop.tasks.0);
            let gone = gone
                .filter(|(earlier, now)| earlier.unit_ids != now.unit_ids)
                .map(|(task, _)| task)
                .filter(|task| inputs.names(earlier, task));
            of_stop(stop, gone.cloned().collect())
        })
        .collect()
}

fn of_stop(stop: &plan_stop::Model, mut tasks: Vec<PlannedTask>) -> Option<Worked> {
    tasks.retain(|task| task.running_seconds > 0);
    (!tasks.is_empty()).then(|| Worked {
        job_id: stop.job_id.clone(),
        crew_id: stop.crew_id.clone(),
        tasks,
    })
}

/// A part of a task: so much of a whole.
fn part(task: &PlannedTask, done: i64, whole: i64) -> PlannedTask {
    let share = |seconds: i32| {
        let part = i64::from(seconds) * done / whole;
        i32::try_from(part).unwrap_or(i32::MAX)
    };
    PlannedTask {
        duration_seconds: share(task.duration_seconds),
        running_seconds: share(task.running_seconds),
        ..task.clone()
    }
}
