//! Drives that crews have begun when a day is planned anew: a crew on the road is where it drives to once it is there, and not
//! where it came from.

use chrono::{DateTime, TimeDelta, Utc};
use forenoon_planner::problem::Progress;
use forenoon_planner::{CrewIx, Plan};
use forenoon_store::entity::plan_stop;

use crate::inputs::DayInputs;
use crate::problem::DayProblem;
use crate::progress::begun;
use crate::standing::{LastSeen, been_there};

/// A drive that a crew has begun.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Leg<'a> {
    /// The site that it drives to; none for the yard.
    pub(crate) site_id: Option<&'a str>,
    /// When it is expected there; not before now.
    pub(crate) arrival: DateTime<Utc>,
    /// The whole drive, seconds.
    pub(crate) drive_seconds: i64,
}

impl<'a> Leg<'a> {
    /// Where it ends.
    pub(crate) const fn end(self) -> LastSeen<'a> {
        LastSeen {
            site_id: self.site_id,
            since: self.arrival,
        }
    }
}

/// What a crew does next by the plan gone on from.
struct Next<'a> {
    site_id: Option<&'a str>,
    leaves: DateTime<Utc>,
    starts: DateTime<Utc>,
    drive_seconds: i64,
}

impl DayInputs {
    /// The drive that a crew has begun: by its own word, or else by the plan. Who is done early may still stand there until it
    /// says that it leaves.
    pub(crate) fn leg<'a>(&'a self, crew: &'a str) -> Option<Leg<'a>> {
        self.told_leg(crew).or_else(|| self.planned_leg(crew))
    }

    /// The drive of which a crew has said that it leaves, and has said nothing of since.
    fn told_leg<'a>(&'a self, crew: &'a str) -> Option<Leg<'a>> {
        let (base, now) = self.base.as_ref()?;
        let legs = base
            .stops_of(crew)
            .filter(|stop| self.is_still_to_come(stop))
            .filter_map(|stop| Some((self.visit_of(stop)?.depart_time?, stop)));
        let (left, stop) = legs.max_by_key(|(left, _)| *left)?;
        let mut own = self.visits.values().filter(|visit| visit.crew_id == crew);
        let elsewhere_since = own.any(|visit| been_there(visit).is_some_and(|there| there > left));
        (!elsewhere_since).then(|| Leg {
            site_id: Some(&stop.site_id),
            arrival: arrival(left, i64::from(stop.drive_seconds), *now),
            drive_seconds: i64::from(stop.drive_seconds),
        })
    }

    /// Whether a crew has said when it left for a stop, and can't be there yet.
    pub(crate) fn is_on_its_way(&self, stop: &plan_stop::Model) -> bool {
        let Some((_, now)) = &self.base else {
            return false;
        };
        let left = self.visit_of(stop).and_then(|visit| visit.depart_time);
        let drive = TimeDelta::seconds(i64::from(stop.drive_seconds));
        !stop.fixed && left.is_some_and(|left| left + drive > *now)
    }

    /// The drive that a crew should have begun by now, where nothing says that it has not. Who is there and waits has driven.
    fn planned_leg<'a>(&'a self, crew: &'a str) -> Option<Leg<'a>> {
        let (base, now) = self.base.as_ref()?;
        let is_at_work = base.stops_of(crew).any(|stop| {
            let visit = self.visit_of(stop);
            visit.is_some_and(|visit| been_there(visit).is_some() && visit.finish_time.is_none())
        });
        if is_at_work || self.was_broken_off(crew) {
            return None;
        }
        let stops = base
            .stops_of(crew)
            .filter(|stop| stop.start_time > *now && self.is_still_to_come(stop))
            .map(|stop| Next {
                site_id: Some(&stop.site_id),
                leaves: stop.arrive_time - TimeDelta::seconds(i64::from(stop.drive_seconds)),
                starts: stop.start_time,
                drive_seconds: i64::from(stop.drive_seconds),
            });
        let calls = base
            .calls_of(crew)
            .filter(|call| call.begins() > *now)
            .map(|call| Next {
                site_id: call.site_id.as_deref(),
                leaves: call.arrive_time - TimeDelta::seconds(call.drive_seconds),
                starts: call.begins(),
                drive_seconds: call.drive_seconds,
            });
        let next = stops.chain(calls).min_by_key(|next| next.starts)?;
        let free = self.free_at(crew);
        let left = free.map_or(next.leaves, |free| Ord::max(free, next.leaves));
        (self.clock.seconds(left) < self.clock.seconds(*now)).then(|| Leg {
            site_id: next.site_id,
            arrival: arrival(left, next.drive_seconds, *now),
            drive_seconds: next.drive_seconds,
        })
    }

    /// Whether a crew has not come to a stop of the plan gone on from, and nobody has ended it.
    fn is_still_to_come(&self, stop: &plan_stop::Model) -> bool {
        let Some((_, now)) = &self.base else {
            return false;
        };
        let is_ended = self
            .visits
            .get(&stop.job_id)
            .is_some_and(|visit| visit.crew_id == stop.crew_id && visit.finish_time.is_some());
        !is_ended && begun(self, stop, self.clock.seconds(*now)).is_none()
    }

    /// Whether the crew stands where its work was broken off.
    fn was_broken_off(&self, crew: &str) -> bool {
        let Some((base, now)) = &self.base else {
            return false;
        };
        let now = self.clock.seconds(*now);
        base.stops_of(crew).any(|stop| {
            self.continued.contains_key(&stop.job_id) && begun(self, stop, now).is_some()
        })
    }

    /// When a crew is free to drive on: where it was last is over, it has loaded, and its break as well.
    fn free_at(&self, crew: &str) -> Option<DateTime<Utc>> {
        let (base, now) = self.base.as_ref()?;
        let stops = base.stops_of(crew).filter_map(|stop| {
            let [.., finish] = begun(self, stop, self.clock.seconds(*now))?;
            Some(self.clock.instant(finish))
        });
        let calls = self.calls_begun(crew).map(|call| call.leave_time);
        let breaks = self.breaks_settled(crew).map(|one| one.end_time);
        let stands = self.known_to_stand(crew).map(|stands| stands.since);
        // Later on it is loaded, whenever it says so.
        let loads = self.load_of(crew);
        let loaded = loads.filter(|_| self.last_seen(crew).is_none());
        let free = stops.chain(calls).chain(breaks).chain(stands);
        free.chain(loaded.map(|load| load.load_time)).max()
    }
}

/// A plan with the drives that crews have begun: to the planner they are over, and each is told with the stop that it leads to.
pub(crate) fn with_legs(inputs: &DayInputs, day: &DayProblem, plan: &Plan) -> Plan {
    let mut plan = plan.clone();
    for (ix, crew) in plan.crews.iter_mut().enumerate() {
        let this = CrewIx::from_ix(ix);
        let Progress::UnderWay(way) = &day.problem.crew(this).progress else {
            continue;
        };
        let mut to_come = crew.stops.iter_mut().filter(|stop| !stop.frozen);
        let first = to_come.next().filter(|stop| stop.place == way.place);
        if let Some((stop, leg)) = first.zip(inputs.leg(day.crew_id(this))) {
            stop.drive_seconds += leg.drive_seconds;
            crew.totals.drive_seconds += leg.drive_seconds;
        }
    }
    plan
}

fn arrival(left: DateTime<Utc>, drive_seconds: i64, now: DateTime<Utc>) -> DateTime<Utc> {
    Ord::max(left + TimeDelta::seconds(drive_seconds), now)
}
