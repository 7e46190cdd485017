//! What a stop's time owes to what its crew does before it, reckoned from the lengths of that.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use forenoon_store::entity::plan_stop;

use super::{Causes, minutes};
use crate::changes::is_over;
use crate::deadlines::is_new;

/// What moves a start by less than this part of the whole move is no cause of it worth telling.
const PART_TOLD: i64 = 3;
/// Lengths that differ by no more than this are the same to a dispatcher, seconds.
const SAME: i64 = 60;

impl Causes<'_> {
    /// What of the stops before it moves a stop's start, the weightiest; none where nothing of them does.
    pub(super) fn stops_before(
        &self,
        old: &plan_stop::Model,
        new: &plan_stop::Model,
    ) -> Option<String> {
        let shift = (new.start_time - old.start_time).num_seconds();
        if new.crew_id != old.crew_id || shift == 0 {
            return None;
        }
        let mut by_words: BTreeMap<String, i64> = BTreeMap::new();
        for (words, seconds) in self.differences(old, new) {
            *by_words.entry(words).or_default() += seconds;
        }
        let along = by_words
            .into_iter()
            .map(|(words, seconds)| (seconds * shift.signum(), words));
        let (seconds, words) = along.max_by_key(|(seconds, _)| *seconds)?;
        (seconds > SAME && seconds * PART_TOLD >= shift.abs()).then_some(words)
    }

    /// What the crew does before the stop that it was not to do, and the other way round, in words, with the seconds by which it
    /// makes the stop later.
    fn differences(&self, old: &plan_stop::Model, new: &plan_stop::Model) -> Vec<(String, i64)> {
        let crew = new.crew_id.as_str();
        let earlier = |stop: &&plan_stop::Model, than: DateTime<Utc>| stop.start_time < than;
        let was: Vec<&plan_stop::Model> = self
            .before
            .stops_of(crew)
            .filter(|stop| earlier(stop, old.start_time))
            .collect();
        let is: Vec<&plan_stop::Model> = self
            .after
            .stops_of(crew)
            .filter(|stop| earlier(stop, new.start_time))
            .collect();
        let mut found = Vec::new();
        for stop in &is {
            match of_job(&was, &stop.job_id) {
                Some(known) => found.extend(self.longer(known, stop)),
                None => found.push((self.comes_before(stop, crew), with_drive(stop))),
            }
        }
        for stop in &was {
            if of_job(&is, &stop.job_id).is_none() && self.is_to_come(stop) {
                found.push((self.falls_away(stop, crew), -with_drive(stop)));
            }
        }
        let calls = self.after.calls_of(crew);
        let new_calls = calls.filter(|call| call.leave_time <= new.start_time);
        let known = |leaves: DateTime<Utc>| {
            let mut calls = self.before.calls_of(crew);
            calls.any(|call| call.leave_time == leaves)
        };
        for call in new_calls.filter(|call| !known(call.leave_time)) {
            let seconds = (call.leave_time - call.arrive_time).num_seconds();
            let name = self.crew(crew);
            let words = match &call.with_crew_id {
                Some(other) => format!("{name} meets {} first", self.crew(other)),
                None => format!("{name} calls at the yard first"),
            };
            found.push((words, seconds + call.drive_seconds));
        }
        found
    }

    /// A stop before it that takes longer than planned, or not as long; one that runs may have begun late, too.
    fn longer(&self, known: &plan_stop::Model, stop: &plan_stop::Model) -> Option<(String, i64)> {
        let more = if stop.fixed {
            (stop.finish_time - known.finish_time).num_seconds()
        } else {
            length(stop) - length(known)
        };
        let site = &stop.site_display_name;
        let told = self.inputs.overruns.get(&stop.job_id).copied();
        let words = if let Some(told) = told.filter(|told| *told > 0 && more > 0) {
            format!("{site} before it takes {} longer", minutes(told))
        } else if stop.fixed && more > 0 {
            let crew = self.crew(&stop.crew_id);
            format!("{crew} is {} behind at {site}", minutes(more))
        } else if more > 0 {
            let short = self.short(&stop.crew_id);
            short.unwrap_or_else(|| format!("{site} before it takes {} longer", minutes(more)))
        } else {
            let back = self.somebody_back(&stop.crew_id).filter(|_| !stop.fixed);
            back.unwrap_or_else(|| format!("{site} before it takes {} less", minutes(-more)))
        };
        (more.abs() > SAME).then_some((words, more))
    }

    fn comes_before(&self, stop: &plan_stop::Model, crew: &str) -> String {
        let site = &stop.site_display_name;
        let old = self.before.stop_of(&stop.job_id);
        match old {
            _ if is_new(self.before, &stop.job_id) => {
                format!("{site} comes before it, which is new")
            }
            Some(old) if old.crew_id != crew => {
                format!("{site} comes before it, from {}", self.crew(&old.crew_id))
            }
            _ => format!("{site} comes before it now"),
        }
    }

    fn falls_away(&self, stop: &plan_stop::Model, crew: &str) -> String {
        let site = &stop.site_display_name;
        if let Some(why) = is_over(self.inputs, &stop.job_id) {
            return format!("{site} before it {why}");
        }
        match self.after.stop_of(&stop.job_id) {
            None => format!("{site} before it leaves the day"),
            Some(new) if new.crew_id != crew => {
                format!("{site} before it goes to {}", self.crew(&new.crew_id))
            }
            Some(_) => format!("it comes before {site} now"),
        }
    }
}

fn of_job<'a>(stops: &[&'a plan_stop::Model], job: &str) -> Option<&'a plan_stop::Model> {
    let mut stops = stops.iter();
    stops.find(|stop| stop.job_id == job).copied()
}

/// Work of a stop and the drive there.
fn with_drive(stop: &plan_stop::Model) -> i64 {
    length(stop) + i64::from(stop.drive_seconds)
}

/// Work of a stop, breaks not counted.
fn length(stop: &plan_stop::Model) -> i64 {
    let tasks = stop.tasks.0.iter();
    tasks.map(|task| i64::from(task.duration_seconds)).sum()
}
