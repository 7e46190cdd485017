//! Crews' breaks on a day under way: which of them are settled.

use chrono::{DateTime, Utc};
use forenoon_planner::Seconds;
use forenoon_planner::problem::Crew;
use forenoon_store::entity::plan_stop;
use forenoon_store::value::PlannedBreak;

use crate::inputs::DayInputs;
use crate::visit::seconds_between;

impl DayInputs {
    /// The breaks of the plan gone on from that are settled: a crew has begun them, or they are part of work that runs. Who
    /// still works at what was to be over before a break has not begun it.
    pub(crate) fn breaks_settled<'a>(
        &'a self,
        crew: &'a str,
    ) -> impl Iterator<Item = &'a PlannedBreak> {
        self.base.iter().flat_map(move |(base, now)| {
            let day = base.day_of(crew);
            let planned = day.and_then(|day| day.breaks.as_ref());
            let planned = planned.map_or(&[][..], |breaks| &breaks.0[..]);
            planned.iter().filter(move |one| {
                let at = one.start_time;
                let within = base.stops_of(crew).any(|stop| self.is_break_of(stop, at));
                within || (at <= *now && self.has_reached(crew, at))
            })
        })
    }

    /// Whether a break is part of a stop's work that has begun: unless it ends or is broken off before.
    fn is_break_of(&self, stop: &plan_stop::Model, at: DateTime<Utc>) -> bool {
        let Some((_, now)) = &self.base else {
            return false;
        };
        let visit = self.visit_of(stop);
        let begun =
            stop.start_time <= *now || visit.is_some_and(|visit| visit.start_time.is_some());
        let ended = visit.and_then(|visit| visit.finish_time);
        let lasts = ended.is_none_or(|end| at < end)
            && (at <= *now || !self.continued.contains_key(&stop.job_id));
        begun && lasts && stop.start_time <= at && at < stop.finish_time
    }

    /// How many of a crew's breaks are not to be planned any more by the time at which it is ready: all up to the last one that
    /// is settled, or for which it is too late.
    pub(crate) fn breaks_taken(&self, crew_id: &str, crew: &Crew, ready_at: Seconds) -> usize {
        let settled: Vec<Seconds> = self
            .breaks_settled(crew_id)
            .map(|one| self.clock.nearest(one.start_time))
            .collect();
        let last = crew.breaks.iter().rposition(|one| {
            let window = one.earliest..=one.latest;
            one.latest + one.seconds <= ready_at || settled.iter().any(|at| window.contains(at))
        });
        last.map_or(0, |last| last + 1)
    }

    /// Seconds of a crew's breaks between two instants.
    pub(crate) fn rested(&self, crew: &str, from: DateTime<Utc>, until: DateTime<Utc>) -> i64 {
        self.breaks_settled(crew)
            .map(|one| seconds_between(from, until, one.start_time, one.end_time))
            .sum()
    }
}
