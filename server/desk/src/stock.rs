//! Takes stock of a day under way before it is planned anew: what can't go on, and what is left of it.
//!
//! A stop that runs when one of its units is tagged out is broken off. It is not fixed any more: its job stays begun,
//! what is left of its tasks is planned as a stop from now on, of its crew or another, with other units, and no plan names the
//! tagged one again. What was done before stands in the visit and in the earlier revision.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use forenoon_store::entity::{plan_stop, visit};
use forenoon_store::value::{Continued, Disruptions, JobState, PlannedTask, TaskLeft, WorkStop};

use crate::inputs::{DayInputs, keeps_in};
use crate::visit::stood_still;

/// A whole task.
const WHOLE: i64 = 1_000;

impl DayInputs {
    /// Whether a job was begun and broken off, so that whoever comes goes on with it.
    pub(crate) fn goes_on(&self, job: &str) -> bool {
        self.continued.contains_key(job)
    }

    /// Takes stock of a re-plan: joins what happened before with what is new, finds stranded units and work that is
    /// broken off, and leaves of broken-off jobs the tasks still to be done. `new` is what happened since the published
    /// plan was made. Does nothing where there is no published plan to go on from.
    pub fn take_stock(&mut self, new: Disruptions) {
        let Some((base, from)) = self.base.clone() else {
            return;
        };
        let facts = base.plan.proposal.clone().unwrap_or_default();
        for overrun in &new.overruns {
            *self.overruns.entry(overrun.job_id.clone()).or_default() += overrun.extra_seconds;
        }
        let moved = new.units_moved.clone();
        self.disruptions = joined(facts.disruptions, new);
        let before: BTreeMap<&str, &Continued> = facts
            .continued
            .iter()
            .map(|one| (one.job_id.as_str(), one))
            .collect();
        self.find_units_out(&moved);
        for stop in &base.parts.stops {
            let earlier = before.get(stop.job_id.as_str()).copied();
            if let Some(BrokenOff {
                left,
                first_permille,
            }) = self.broken_off(stop, earlier, from)
            {
                self.keep_overrun(&stop.job_id, first_permille);
                self.continued.insert(stop.job_id.clone(), left);
            }
        }
        self.know_rests(
            before
                .into_values()
                .filter(|left| base.stop_of(&left.job_id).is_none()),
        );
        for job in &mut self.jobs {
            if let Some(left) = self.continued.get(&job.id) {
                job.tasks
                    .0
                    .retain(|task| left.tasks.iter().any(|left| left.task_id == task.task_id));
            }
        }
    }

    /// Keeps of what a broken-off job takes longer only what is not over: it is part of the first task.
    fn keep_overrun(&mut self, job: &str, left_permille: i64) {
        let overruns = &mut self.disruptions.overruns;
        for overrun in overruns.iter_mut().filter(|one| one.job_id == job) {
            overrun.extra_seconds = overrun.extra_seconds * left_permille / WHOLE;
        }
        overruns.retain(|overrun| overrun.extra_seconds != 0 || overrun.job_id != job);
    }

    /// Jobs broken off on the day that an earlier plan left: where one is done on the day after all, it is the rest of it.
    fn know_rests<'a>(&mut self, left: impl Iterator<Item = &'a Continued>) {
        for rest in left {
            let visit = self.visits.get(&rest.job_id);
            if visit.is_some_and(|visit| visit.ended_by_plan_id.is_some()) {
                self.continued.insert(rest.job_id.clone(), rest.clone());
            }
        }
    }

    /// Whether a worker is not there.
    pub fn is_absent(&self, worker: &str) -> bool {
        self.disruptions
            .absent_workers
            .iter()
            .any(|id| id == worker)
    }

    /// Whether the crew has begun its day: it has stops that are done or running, or had them by an earlier plan.
    pub(crate) fn has_begun(&self, crew: &str) -> bool {
        let has_stops = self.base.as_ref().is_some_and(|(base, from)| {
            base.stops_of(crew)
                .any(|stop| stop.fixed || stop.start_time <= *from || self.visit_of(stop).is_some())
        });
        has_stops || self.known_to_stand(crew).next().is_some()
    }

    /// The visit that a stop's crew has reported for it. One that a plan ended is none: where the crew has the job again, it
    /// begins anew.
    pub(crate) fn visit_of(&self, stop: &plan_stop::Model) -> Option<&visit::Model> {
        self.visits
            .get(&stop.job_id)
            .filter(|visit| visit.crew_id == stop.crew_id && visit.ended_by_plan_id.is_none())
    }

    /// Whether a stop for the rest of a job is gone on with in the visit in which its crew began the job, `began`: that visit
    /// does not tell when the rest began. One that was begun by the very plan is for the rest.
    pub(crate) fn resumes(&self, stop: &plan_stop::Model, began: &Continued) -> bool {
        let anew = || {
            self.visit_of(stop)
                .is_some_and(|visit| visit.plan_id == stop.plan_id)
        };
        began.crew_id == stop.crew_id && !anew()
    }

    /// The share of a task still to be done, thousandths.
    pub(crate) fn left_of(&self, job: &str, task: &str) -> i64 {
        self.continued.get(job).map_or(WHOLE, |left| {
            left.tasks
                .iter()
                .find(|left| left.task_id == task)
                .map_or(0, |left| left.permille)
        })
    }

    /// Whether nobody of the crew is there.
    pub(crate) fn is_gone(&self, crew: &str) -> bool {
        let nobody = !self
            .workers
            .iter()
            .any(|worker| worker.crew_id.as_deref() == Some(crew) && !self.is_absent(&worker.id));
        nobody || self.disruptions.absent_crews.iter().any(|id| id == crew)
    }

    /// What is left of a stop that can't go on as planned; none where it can, is over or has not begun.
    fn broken_off(
        &self,
        stop: &plan_stop::Model,
        earlier: Option<&Continued>,
        now: DateTime<Utc>,
    ) -> Option<BrokenOff> {
        let visit = self.visit_of(stop);
        if visit.is_some_and(|visit| visit.finish_time.is_some()) {
            return None;
        }
        let reported = visit.and_then(|visit| visit.start_time);
        // A crew that is there begins at once.
        let there = reported.or_else(|| visit.and_then(|visit| visit.arrive_time));
        // The crew that began the job goes on with it, in the same visit; another's is an attempt of its own.
        let resumed = earlier.is_some_and(|earlier| self.resumes(stop, earlier));
        let begun = stop.start_time <= now || (!resumed && (there.is_some() || stop.fixed));
        if let (false, Some(earlier)) = (begun, earlier) {
            return Some(BrokenOff {
                left: earlier.clone(),
                first_permille: WHOLE,
            });
        }
        // What nobody has reported may not have begun: then all of it is left.
        let start = match reported {
            _ if resumed => stop.start_time,
            Some(reported) => reported,
            None => now,
        };
        let job = self.jobs.iter().find(|job| job.id == stop.job_id)?;
        if !begun || !matches!(job.state, JobState::Open | JobState::Running) {
            return None;
        }
        let share_before = |task: &PlannedTask| {
            earlier.map_or(WHOLE, |earlier| {
                earlier
                    .tasks
                    .iter()
                    .find(|left| left.task_id == task.task_id)
                    .map_or(0, |left| left.permille)
            })
        };
        let work = Work {
            inputs: self,
            stop,
            visit,
            start,
        };
        let tagged_at = work.tagged_at();
        // Only of what nobody has told anything is it known by the plan alone that it is over: a crew that has told that it
        // set out or is there tells its end too. And what lost a unit before its planned end did not come to that end.
        let silent = visit.is_none() && !resumed;
        let came_to_its_end = tagged_at.is_none_or(|tagged| stop.finish_time <= tagged);
        if silent && stop.finish_time <= now && came_to_its_end {
            return None;
        }
        let mut worked = work.worked(tagged_at.map_or(now, |tagged| Ord::min(tagged, now)));
        let gone = self.is_gone(&stop.crew_id);
        let mut left = Vec::new();
        let mut first_permille = 0;
        let mut blocked = false;
        for (ix, task) in stop.tasks.0.iter().enumerate() {
            let planned = work.planned(ix);
            let done = worked.min(planned);
            worked -= done;
            let permille = (planned - done) * share_before(task) / planned;
            if work.is_told(task) || permille <= 0 {
                continue;
            }
            if ix == 0 {
                first_permille = (planned - done) * WHOLE / planned;
            }
            blocked |= gone || self.blocks(task, now);
            left.push(TaskLeft {
                task_id: task.task_id.clone(),
                permille,
            });
        }
        (blocked && !left.is_empty()).then(|| BrokenOff {
            left: Continued {
                job_id: stop.job_id.clone(),
                crew_id: stop.crew_id.clone(),
                tasks: left,
            },
            first_permille,
        })
    }

    /// Whether a task can't go on: a unit of it is out or must not do it, or its kind of work has to wait.
    fn blocks(&self, task: &PlannedTask, now: DateTime<Utc>) -> bool {
        // A stranded unit can still finish where it stands.
        let by_unit = task
            .unit_ids
            .iter()
            .any(|unit| self.is_tagged_out(unit) || self.forbidden(unit).contains(&task.kind));
        by_unit
            || self.disruptions.work_stops.iter().any(|stop| {
                stop.kinds.contains(&task.kind) && stop.start_time <= now && now < stop.end_time
            })
    }
}

/// What is left of a stop that can't go on.
struct BrokenOff {
    /// What is left of its job.
    left: Continued,
    /// What is left of the stop's first task, thousandths.
    first_permille: i64,
}

/// Work at a stop that has begun.
struct Work<'a> {
    inputs: &'a DayInputs,
    stop: &'a plan_stop::Model,
    visit: Option<&'a visit::Model>,
    start: DateTime<Utc>,
}

impl Work<'_> {
    /// What is planned for a task, with what its job newly takes longer.
    fn planned(&self, task: usize) -> i64 {
        let planned = self.stop.tasks.0.get(task);
        let planned = planned.map_or(0, |task| i64::from(task.duration_seconds));
        let more = if task == 0 {
            let more = self.inputs.overruns.get(&self.stop.job_id);
            more.copied().unwrap_or(0)
        } else {
            0
        };
        (planned + more).max(1)
    }

    /// Seconds worked until an instant.
    fn worked(&self, until: DateTime<Utc>) -> i64 {
        // A break may be told as a pause too; then it is one and not two.
        let rested = self.inputs.rested(&self.stop.crew_id, self.start, until);
        let paused = self
            .visit
            .map_or(0, |visit| stood_still(visit, self.start, until));
        ((until - self.start).num_seconds() - Ord::max(rested, paused)).max(0)
    }

    /// Whether the crew has told what the task took.
    fn is_told(&self, task: &PlannedTask) -> bool {
        self.visit.is_some_and(|visit| {
            let mut told = visit.task_actuals.0.iter();
            told.any(|actual| actual.task_id == task.task_id)
        })
    }

    /// When the first of the stop's units was tagged such that its task could not go on. A task that was over by then did
    /// not want it any more.
    fn tagged_at(&self) -> Option<DateTime<Utc>> {
        let mut end = 0;
        let mut first: Option<DateTime<Utc>> = None;
        for (ix, task) in self.stop.tasks.0.iter().enumerate() {
            end += self.planned(ix);
            if self.is_told(task) {
                continue;
            }
            let tags = task
                .unit_ids
                .iter()
                .filter_map(|unit| self.inputs.tags.get(unit));
            let stopping = tags
                .filter(|tag| keeps_in(tag) || tag.forbidden_tasks.0.contains(&task.kind))
                .filter_map(|tag| tag.forbids_since(task.kind))
                .filter(|at| self.worked(*at) < end);
            first = first.into_iter().chain(stopping).min();
        }
        first
    }
}

/// What holds of the day: what held before less what is taken back, and what is new.
fn joined(mut before: Disruptions, new: Disruptions) -> Disruptions {
    before
        .absent_crews
        .retain(|crew| !new.present_crews.contains(crew));
    before
        .absent_workers
        .retain(|worker| !new.present_workers.contains(worker));
    for stop in &mut before.work_stops {
        stop.kinds.retain(|kind| !new.resumed_kinds.contains(kind));
    }
    before.work_stops.retain(|stop| !stop.kinds.is_empty());
    for (known, more) in [
        (&mut before.absent_crews, new.absent_crews),
        (&mut before.absent_workers, new.absent_workers),
    ] {
        known.extend(more);
        known.sort_unstable();
        known.dedup();
    }
    for more in new.overruns {
        match before
            .overruns
            .iter_mut()
            .find(|known| known.job_id == more.job_id)
        {
            Some(known) => known.extra_seconds += more.extra_seconds,
            None => before.overruns.push(more),
        }
    }
    for more in new.work_stops {
        let says_it = |known: &WorkStop| {
            known.start_time <= more.start_time
                && more.end_time <= known.end_time
                && more.kinds.iter().all(|kind| known.kinds.contains(kind))
        };
        if !before.work_stops.iter().any(says_it) {
            before.work_stops.push(more);
        }
    }
    before
}
