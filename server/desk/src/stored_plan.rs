//! A plan with all its rows.

use std::sync::Arc;

use chrono::{DateTime, Utc};
use forenoon_store::entity::plan_draft::PlanParts;
use forenoon_store::entity::{plan, plan_crew_day, plan_load_out, plan_stop};
use forenoon_store::value::YardStop;

/// A plan with all its rows.
#[derive(Clone, Debug, PartialEq)]
pub struct StoredPlan {
    /// The plan itself.
    pub plan: plan::Model,
    /// Its parts, which never change once it is stored.
    pub parts: Arc<PlanParts>,
}

/// A unit that several crews have in the course of a day.
#[derive(Clone, Copy, Debug)]
pub struct SharedUnit<'a> {
    /// The crew's spell with it.
    pub spell: &'a plan_load_out::Model,
    /// The spell of the crew that has it before.
    pub before: Option<&'a plan_load_out::Model>,
    /// The spell of the crew that has it next.
    pub after: Option<&'a plan_load_out::Model>,
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

    /// The sites where its crews are in the course of the day, or stand when it begins; some more than once.
    pub fn sites(&self) -> impl Iterator<Item = &str> {
        let stops = self.parts.stops.iter().map(|stop| &stop.site_id);
        let calls = self.calls().filter_map(|(_, call)| call.site_id.as_ref());
        let standing = self
            .plan
            .proposal
            .iter()
            .flat_map(|facts| &facts.standing)
            .filter_map(|stands| stands.site_id.as_ref());
        let sites = stops.chain(calls).chain(standing);
        sites.map(String::as_str)
    }

    /// A crew's units aboard at some time of its day, each once.
    pub fn load_out_of<'a>(&'a self, crew: &'a str) -> impl Iterator<Item = &'a str> {
        let mut last = None;
        self.parts
            .load_outs
            .iter()
            .filter(move |row| row.crew_id == crew)
            .map(|row| row.unit_id.as_str())
            // A unit's spells stand together.
            .filter(move |unit| last.replace(*unit) != Some(*unit))
    }

    /// Who has a unit in the course of the day, in order of time.
    pub fn spells_of<'a>(
        &'a self,
        unit: &'a str,
    ) -> impl Iterator<Item = &'a plan_load_out::Model> {
        self.parts
            .load_outs
            .iter()
            .filter(move |row| row.unit_id == unit)
    }

    /// A crew's spells with units that other crews have before or after it.
    pub fn shared_of<'a>(&'a self, crew: &'a str) -> impl Iterator<Item = SharedUnit<'a>> {
        let rows = &self.parts.load_outs;
        rows.iter().enumerate().filter_map(move |(at, spell)| {
            if spell.crew_id != crew {
                return None;
            }
            let others = |row: &&plan_load_out::Model| {
                row.unit_id == spell.unit_id && row.crew_id != spell.crew_id
            };
            let before = at.checked_sub(1).and_then(|at| rows.get(at)).filter(others);
            let after = rows.get(at + 1).filter(others);
            before.or(after)?;
            Some(SharedUnit {
                spell,
                before,
                after,
            })
        })
    }

    /// Whether a crew leaves with the unit aboard.
    pub fn leaves_with(&self, crew: &str, unit: &str) -> bool {
        let depart = self.day_of(crew).and_then(|day| day.depart_time);
        let in_the_morning =
            |spell: &plan_load_out::Model| match (spell.from_time, spell.until_time) {
                (None, None) => self.is_aboard(crew, unit, &|_, _| false),
                (None, Some(_)) => true,
                (Some(from), _) => depart.is_some_and(|depart| from <= depart),
            };
        self.spells_of(unit)
            .any(|spell| spell.crew_id == crew && in_the_morning(spell))
    }

    /// Whether a crew of the plan has the unit aboard when crews have come as far as `reached` says: by crew and instant.
    pub fn is_aboard(
        &self,
        crew: &str,
        unit: &str,
        reached: &dyn Fn(&str, DateTime<Utc>) -> bool,
    ) -> bool {
        let timed =
            |spell: &plan_load_out::Model| spell.from_time.is_some() || spell.until_time.is_some();
        if !self.spells_of(unit).any(timed) {
            return self.is_aboard_by_calls(crew, unit, reached);
        }
        self.spells_of(unit)
            .filter(|spell| spell.crew_id == crew)
            .any(|spell| {
                spell.from_time.is_none_or(|from| reached(crew, from))
                    && !spell.until_time.is_some_and(|until| reached(crew, until))
            })
    }

    /// The same for a unit without times: those of plans made before spells were kept follow from the calls.
    fn is_aboard_by_calls(
        &self,
        crew: &str,
        unit: &str,
        reached: &dyn Fn(&str, DateTime<Utc>) -> bool,
    ) -> bool {
        let has = |units: &[String]| units.iter().any(|known| known == unit);
        // Handed over on the road: with the giver until then, with the taker after it.
        let mut handed_over: Vec<(&YardStop, &str, &str)> = self
            .calls()
            .filter(|(_, call)| has(&call.load))
            .filter_map(|(day, call)| Some((call, call.with_crew_id.as_deref()?, &*day.crew_id)))
            .collect();
        handed_over.sort_by_key(|(call, ..)| call.leave_time);
        let begun = handed_over
            .iter()
            .rfind(|(call, _, taker)| reached(taker, call.counts_from()));
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
        for call in bearing.take_while(|call| reached(crew, call.counts_from())) {
            if since.is_none_or(|since| call.arrive_time >= since) {
                aboard = has(&call.load);
            }
        }
        aboard
    }
}
