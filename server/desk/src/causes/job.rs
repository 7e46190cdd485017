//! What keeps a job from being done as it was planned, or lets it in.

use chrono::TimeDelta;
use forenoon_store::entity::plan_stop;
use forenoon_store::value::TaskKind;

use super::{Causes, minutes};
use crate::changes::{is_over, work};
use crate::deadlines::is_new;
use crate::roster::StaysIn;

/// A start that moves by no more than this stays where it was.
const STAYS: TimeDelta = TimeDelta::minutes(10);

impl Causes<'_> {
    /// What bars a stop from being made as planned: its crew is not there or lacks a skill now, or its work has to wait.
    pub(super) fn barred(&self, old: &plan_stop::Model) -> Option<String> {
        // The change itself says that a job is called off or done.
        if is_over(self.inputs, &old.job_id).is_some() {
            return None;
        }
        self.crew_gone(&old.crew_id)
            .or_else(|| self.has_to_wait(old))
            .or_else(|| self.skill_gone(old))
    }

    fn crew_gone(&self, id: &str) -> Option<String> {
        let crew = self.crew(id);
        if self.news.absent_crews.contains(&id) {
            return Some(format!("{crew} cannot go on"));
        }
        let unit = |id: &str| {
            let mut units = self.inputs.units.iter();
            let known = units.find(|unit| unit.id == id);
            known.map_or_else(|| id.to_owned(), |unit| unit.display_name.clone())
        };
        match self.gone.get(id)? {
            StaysIn::NoWorkers => Some(format!("nobody of {crew} is there")),
            StaysIn::VehicleTaggedOut(id) => {
                Some(format!("{crew} has no vehicle: {} is tagged out", unit(id)))
            }
            StaysIn::VehicleAway(id) => {
                Some(format!("{crew} has no vehicle: {} is away", unit(id)))
            }
            StaysIn::VehicleTaken(_) | StaysIn::NoShift | StaysIn::Absent => None,
        }
    }

    /// Work of the job that has to wait when the stop was to be made.
    fn has_to_wait(&self, old: &plan_stop::Model) -> Option<String> {
        let mut stops = self.news.work_stops.iter();
        stops.find_map(|stop| {
            let meets = stop.start_time < old.finish_time && old.start_time < stop.end_time;
            let mut tasks = old.tasks.0.iter();
            let task = tasks.find(|task| meets && stop.kinds.contains(&task.kind))?;
            let until = self.inputs.clock.words_with_day(stop.end_time);
            Some(format!("{} has to wait until {until}", work(task.kind)))
        })
    }

    /// A skill that the crew had by somebody who is not there.
    fn skill_gone(&self, old: &plan_stop::Model) -> Option<String> {
        let mut jobs = self.inputs.jobs.iter();
        let job = jobs.find(|job| job.id == old.job_id)?;
        let workers = self.inputs.workers.iter();
        let mut of_crew: Vec<_> = workers
            .filter(|worker| worker.crew_id.as_deref() == Some(old.crew_id.as_str()))
            .collect();
        let gone: Vec<_> = of_crew
            .iter()
            .copied()
            .filter(|worker| self.news.absent_workers.contains(&worker.id.as_str()))
            .collect();
        of_crew.retain(|worker| !self.inputs.is_absent(&worker.id));
        job.skills.0.iter().find_map(|skill| {
            if of_crew.iter().any(|worker| worker.skills.0.contains(skill)) {
                return None;
            }
            let who = gone.iter().find(|one| one.skills.0.contains(skill))?;
            let crew = self.crew(&old.crew_id);
            Some(format!(
                "without {} nobody in {crew} has the skill {skill}",
                who.display_name
            ))
        })
    }

    /// A job that takes longer, and begins where it was to.
    pub(super) fn takes_longer(
        &self,
        old: &plan_stop::Model,
        new: &plan_stop::Model,
    ) -> Option<String> {
        let more = *self.inputs.overruns.get(&old.job_id)?;
        let stays = (new.start_time - old.start_time).abs() <= STAYS;
        (stays && more > 0 && new.crew_id == old.crew_id)
            .then(|| format!("it takes {} longer", minutes(more)))
    }

    /// Why a job is not planned, as the plan itself tells.
    pub(super) fn left_out(&self, job: &str) -> Option<String> {
        if is_over(self.inputs, job).is_some() {
            return None;
        }
        let mut rows = self.after.parts.unplanned.iter();
        let row = rows.find(|row| row.job_id == job)?;
        row.reasons.0.first().map(|reason| reason.text.clone())
    }

    /// A unit of the stop that another crew has.
    pub(super) fn unit_elsewhere(
        &self,
        old: &plan_stop::Model,
        new: &plan_stop::Model,
    ) -> Option<String> {
        let (had, has) = (old.tasks.unit_ids(), new.tasks.unit_ids());
        had.difference(&has).find_map(|unit| {
            if self
                .after
                .spells_of(unit)
                .any(|one| one.crew_id == new.crew_id)
            {
                return None;
            }
            let spell = self.after.spells_of(unit).next()?;
            let mut units = self.inputs.units.iter();
            let name = &units.find(|known| known.id == *unit)?.display_name;
            Some(format!("{name} goes with {}", self.crew(&spell.crew_id)))
        })
    }

    /// Why a job comes into the day: it was made since, its work may go on, or its crew has room.
    pub(super) fn comes_in(&self, new: &plan_stop::Model) -> Option<String> {
        if is_new(self.before, &new.job_id) {
            return Some("it came in after the plan was made".to_owned());
        }
        self.may_go_on(new).or_else(|| self.room(&new.crew_id))
    }

    fn may_go_on(&self, new: &plan_stop::Model) -> Option<String> {
        let resumed = |kind: &TaskKind| self.news.resumed.contains(kind);
        let mut kinds = new.tasks.0.iter().map(|task| task.kind);
        let kind = kinds.find(resumed)?;
        Some(format!("{} need not wait any longer", work(kind)))
    }
}
