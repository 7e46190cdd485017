//! Where a crew was last on a day under way, also where the plan gone on from has no stop there any more: its job may be taken
//! off the day, given to another crew, or given up.

use chrono::{DateTime, TimeDelta, Utc};
use forenoon_store::entity::{plan_stop, visit};
use forenoon_store::value::CrewStands;

use crate::inputs::DayInputs;
use crate::progress::begun;
use crate::stored_plan::StoredPlan;

/// Where a crew was last.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct LastSeen<'a> {
    /// The site; none for the yard.
    pub(crate) site_id: Option<&'a str>,
    /// Since when, by the plan or by an earlier report; later than now where it is still on its way there.
    pub(crate) since: DateTime<Utc>,
}

impl DayInputs {
    /// Where a crew was last, as far as it is known: by the stops and calls of the plan gone on from that it has begun, by what
    /// it told of other jobs, and by what that plan knows from those before it. None for one that has been nowhere yet.
    pub(crate) fn last_seen<'a>(&'a self, crew: &'a str) -> Option<LastSeen<'a>> {
        let (base, _) = self.base.as_ref()?;
        let known = self.known_to_stand(crew).map(|stands| LastSeen {
            site_id: stands.site_id.as_deref(),
            since: stands.since,
        });
        let stops = base.stops_of(crew).filter_map(|stop| {
            Some(LastSeen {
                site_id: Some(&stop.site_id),
                since: self.begun_at(stop)?,
            })
        });
        let calls = self.calls_begun(crew).map(|call| LastSeen {
            site_id: call.site_id.as_deref(),
            since: call.arrive_time,
        });
        let seen = known.chain(self.seen_elsewhere(base, crew));
        // The last of those that are as late.
        seen.chain(stops).chain(calls).max_by_key(|seen| seen.since)
    }

    /// What the plan gone on from knows of where a crew stands.
    pub(crate) fn known_to_stand<'a>(
        &'a self,
        crew: &'a str,
    ) -> impl Iterator<Item = &'a CrewStands> {
        let facts = self.base.iter().flat_map(|(base, _)| &base.plan.proposal);
        let standing = facts.flat_map(|facts| &facts.standing);
        standing.filter(move |stands| stands.crew_id == crew)
    }

    /// Where the crews stand that are out, or where they drive, as a plan made from these inputs is to know it. Where its own stops
    /// say so, it need not.
    pub(crate) fn standing(&self, after: &StoredPlan) -> Vec<CrewStands> {
        let crews = self.crews.iter().filter_map(|crew| {
            let leg = self.leg(&crew.id);
            let (seen, told) = match leg {
                Some(leg) => (leg.end(), self.next_place(&crew.id, after)),
                None => (self.last_seen(&crew.id)?, last_place(&crew.id, after)),
            };
            let is_told = told.is_some_and(|told| told.site_id == seen.site_id);
            (!is_told).then(|| CrewStands {
                crew_id: crew.id.clone(),
                site_id: seen.site_id.map(str::to_owned),
                since: seen.since,
            })
        });
        crews.collect()
    }

    /// Where a crew goes next by a plan made from these inputs, and when.
    fn next_place<'a>(&self, crew: &'a str, after: &'a StoredPlan) -> Option<LastSeen<'a>> {
        let (_, now) = self.base.as_ref()?;
        let stops = after.stops_of(crew).filter(|stop| !stop.fixed);
        let stops = stops.map(at_stop);
        let calls = after.calls_of(crew).filter(|call| call.begins() > *now);
        let calls = calls.map(|call| LastSeen {
            site_id: call.site_id.as_deref(),
            since: call.begins(),
        });
        stops.chain(calls).min_by_key(|next| next.since)
    }

    /// Since when a crew has been at a stop of the plan gone on from; none where it has not come to it.
    fn begun_at(&self, stop: &plan_stop::Model) -> Option<DateTime<Utc>> {
        let (base, now) = self.base.as_ref()?;
        let visit = self.visit_of(stop);
        // Called back on its way: it turns round once it is there.
        if let Some(visit) = visit
            && let Some(left) = visit.depart_time
            && visit.finish_time.is_some()
            && been_there(visit).is_none()
        {
            return Some(left + TimeDelta::seconds(i64::from(stop.drive_seconds)));
        }
        let is_called_off = !self.jobs.iter().any(|job| job.id == stop.job_id);
        if is_called_off && visit.and_then(been_there).is_none() {
            return None;
        }
        if let Some([arrival, ..]) = begun(self, stop, self.clock.seconds(*now)) {
            return Some(Ord::min(self.clock.instant(arrival), stop.start_time));
        }
        // Given up before it should have begun: by who is out, it is taken to be at the site.
        let depart = base.day_of(&stop.crew_id).and_then(|day| day.depart_time);
        let is_out = depart.is_some_and(|depart| depart <= *now);
        let visit = self.given_up(&stop.job_id);
        let end = visit.filter(|visit| visit.crew_id == stop.crew_id)?;
        let end = end.finish_time.filter(|_| is_out)?;
        Some(Ord::min(end, stop.start_time))
    }

    /// Where a crew has been by what it told of jobs for which the plan gone on from has no stop of it.
    fn seen_elsewhere<'a>(
        &'a self,
        base: &'a StoredPlan,
        crew: &'a str,
    ) -> impl Iterator<Item = LastSeen<'a>> {
        let visits = self.visits.values().filter(move |visit| {
            let own = || base.stop_of(&visit.job_id).map(|stop| &*stop.crew_id) == Some(crew);
            visit.crew_id == crew && !own()
        });
        visits.filter_map(|visit| {
            let job = self.jobs.iter().find(|job| job.id == visit.job_id)?;
            Some(LastSeen {
                site_id: Some(&job.site_id),
                since: been_there(visit)?,
            })
        })
    }
}

/// Where a crew is by the last of its stops that the plan takes as it is.
fn last_place<'a>(crew: &'a str, after: &'a StoredPlan) -> Option<LastSeen<'a>> {
    let fixed = after.stops_of(crew).filter(|stop| stop.fixed);
    fixed.map(at_stop).max_by_key(|stop| stop.since)
}

fn at_stop(stop: &plan_stop::Model) -> LastSeen<'_> {
    LastSeen {
        site_id: Some(&stop.site_id),
        since: stop.start_time,
    }
}

/// When the crew has been at the site, by its own word.
pub(crate) fn been_there(visit: &visit::Model) -> Option<DateTime<Utc>> {
    visit.start_time.or(visit.arrive_time)
}
