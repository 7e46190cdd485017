//! A plan with all its rows.

use std::sync::Arc;

use chrono::{DateTime, Utc};
use forenoon_store::entity::plan_draft::PlanParts;
use forenoon_store::entity::{plan, plan_crew_day, plan_stop};
use forenoon_store::value::YardStop;

/// A plan with all its rows.
#[derive(Clone, Debug, PartialEq)]
pub struct StoredPlan {
    /// The plan itself.
    pub plan: plan::Model,
    /// Its parts, which never change once it is stored.
    pub parts: Arc<PlanParts>,
}

impl StoredPlan {
    /// A crew's day.
    pub fn day_of(&self, crew: &str) -> Option<&plan_crew_day::Model> {
        self.parts.crew_days.iter().find(|day| day.crew_id == crew)
    }

    /// A crew's stops, in order.
    pub fn stops_of<'a>(&'a self, crew: &'a str) -> impl Iterator<Item = &'a plan_stop::Model> {
        self.parts
            .stops
            .iter()
            .filter(move |stop| stop.crew_id == crew)
    }

    /// The stop of a job.
    pub fn stop_of(&self, job: &str) -> Option<&plan_stop::Model> {
        self.parts.stops.iter().find(|stop| stop.job_id == job)
    }

    /// A crew's calls on the way to change units, in order.
    pub fn calls_of(&self, crew: &str) -> impl Iterator<Item = &YardStop> {
        self.day_of(crew)
            .into_iter()
            .flat_map(plan_crew_day::Model::yard_calls)
    }

    /// All crews' calls, each with its crew's day.
    pub fn calls(&self) -> impl Iterator<Item = (&plan_crew_day::Model, &YardStop)> {
        let days = self.parts.crew_days.iter();
        days.flat_map(|day| day.yard_calls().map(move |call| (day, call)))
    }

    /// Whether a crew of the plan has the unit aboard at an instant: loaded before it left and not put down on the way, or
    /// taken there.
    pub fn is_aboard(&self, crew: &str, unit: &str, at: DateTime<Utc>) -> bool {
        let has = |units: &[String]| units.iter().any(|known| known == unit);
        // Handed over on the road: with the giver until then, with the taker after it.
        let mut handed_over: Vec<(&YardStop, &str, &str)> = self
            .calls()
            .filter(|(_, call)| has(&call.load))
            .filter_map(|(day, call)| Some((call, call.with_crew_id.as_deref()?, &*day.crew_id)))
            .collect();
        handed_over.sort_by_key(|(call, ..)| call.leave_time);
        let begun = handed_over.iter().rfind(|(call, ..)| call.has_begun(at));
        let since = match (begun, handed_over.first()) {
            (Some((_, _, taker)), _) if *taker != crew => return false,
            (Some((call, ..)), _) => Some(call.leave_time),
            (None, Some((_, giver, _))) => return *giver == crew,
            (None, None) => None,
        };
        if !self.load_out_of(crew).any(|known| known == unit) {
            return false;
        }
        let bears = |call: &&YardStop| {
            call.with_crew_id.is_none() && (has(&call.load) || has(&call.unload))
        };
        let mut bearing = self.calls_of(crew).filter(bears).peekable();
        // Before the first call that bears on it, it is aboard if that call puts it down; after one, if that takes it.
        let mut aboard = since.is_some() || bearing.peek().is_none_or(|first| has(&first.unload));
        for call in bearing.take_while(|call| call.has_begun(at)) {
            if since.is_none_or(|since| call.arrive_time >= since) {
                aboard = has(&call.load);
            }
        }
        aboard
    }

    /// A crew's units aboard at some time of its day.
    pub fn load_out_of<'a>(&'a self, crew: &'a str) -> impl Iterator<Item = &'a str> {
        self.parts
            .load_outs
            .iter()
            .filter(move |row| row.crew_id == crew)
            .map(|row| row.unit_id.as_str())
    }
}
