//! What a crew has more to do than planned, or less.

use forenoon_store::entity::plan_stop;

use super::{Causes, minutes};
use crate::changes::is_over;
use crate::deadlines::is_new;

impl Causes<'_> {
    /// What keeps a crew from a stop that it was to make: somebody is missing, or what it has to do beside takes more time than
    /// there was to spare.
    pub(super) fn crew_pressed(&self, old: &plan_stop::Model) -> Option<String> {
        if is_over(self.inputs, &old.job_id).is_some() {
            return None;
        }
        let spare = i64::from(old.slack_seconds);
        self.longer_than(old, spare)
            .or_else(|| self.short(&old.crew_id))
            .or_else(|| self.new_beside(&old.crew_id, spare))
            .or_else(|| self.behind(&old.crew_id, spare))
    }

    /// The job itself, or another that the crew is still to end, takes longer by more than there is to spare.
    fn longer_than(&self, old: &plan_stop::Model, spare: i64) -> Option<String> {
        let overrun = |job: &str| self.inputs.overruns.get(job).copied().unwrap_or(0);
        let own = overrun(&old.job_id);
        if own > spare {
            return Some(format!("it takes {} longer", minutes(own)));
        }
        let stops = self.before.stops_of(&old.crew_id);
        let mut others = stops
            .filter(|stop| stop.job_id != old.job_id && self.is_to_come(stop))
            .filter(|stop| is_over(self.inputs, &stop.job_id).is_none());
        let other = others.find(|stop| overrun(&stop.job_id) > spare)?;
        Some(format!(
            "{} is {} longer at {}",
            self.crew(&old.crew_id),
            minutes(overrun(&other.job_id)),
            other.site_display_name
        ))
    }

    /// Who of a crew is not there.
    pub(super) fn short(&self, crew: &str) -> Option<String> {
        let mut workers = self.inputs.workers.iter();
        let gone = workers.find(|worker| {
            worker.crew_id.as_deref() == Some(crew)
                && self.news.absent_workers.contains(&worker.id.as_str())
        })?;
        Some(format!(
            "{} is short of {}",
            self.crew(crew),
            gone.display_name
        ))
    }

    /// A new job that the crew does in its place.
    fn new_beside(&self, crew: &str, spare: i64) -> Option<String> {
        let mut stops = self.after.stops_of(crew);
        let new = stops.find(|stop| {
            let seconds = (stop.finish_time - stop.start_time).num_seconds();
            is_new(self.before, &stop.job_id) && seconds > spare
        })?;
        Some(format!(
            "{} does {}, which is new",
            self.crew(crew),
            new.site_display_name
        ))
    }

    /// By how much a crew's running work ends later than planned.
    fn behind(&self, crew: &str, spare: i64) -> Option<String> {
        let running = self.after.stops_of(crew).filter(|stop| stop.fixed).last()?;
        let planned = self.before.stop_of(&running.job_id)?;
        let late = (running.finish_time - planned.finish_time).num_seconds();
        (planned.crew_id == crew && late > spare && late >= 60).then(|| {
            format!(
                "{} is {} behind at {}",
                self.crew(crew),
                minutes(late),
                running.site_display_name
            )
        })
    }

    /// What gives a crew room: a job that it need not do any more, or somebody who is there again.
    pub(super) fn room(&self, crew: &str) -> Option<String> {
        let mut stops = self.before.stops_of(crew);
        let free = stops.find_map(|stop| {
            let left = self.is_to_come(stop) && self.after.stop_of(&stop.job_id).is_none();
            let why = is_over(self.inputs, &stop.job_id).filter(|_| left)?;
            let site = &stop.site_display_name;
            Some(format!(
                "{site} {why}, which gives {} time",
                self.crew(crew)
            ))
        });
        free.or_else(|| self.somebody_back(crew))
    }

    /// Who of a crew is there again.
    pub(super) fn somebody_back(&self, crew: &str) -> Option<String> {
        let of_crew = |id: &&str| {
            let mut workers = self.inputs.workers.iter();
            workers.any(|worker| worker.id == **id && worker.crew_id.as_deref() == Some(crew))
        };
        let back = self.news.back.iter().copied().find(|id| of_crew(id))?;
        Some(format!(
            "{} is back with {}",
            self.worker(back),
            self.crew(crew)
        ))
    }
}
