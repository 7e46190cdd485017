//! How far a crew's day has got, when a published day is planned anew.

use chrono::{DateTime, Utc};
use forenoon_planner::problem::{Crew, FrozenStop, Progress, UnderWay};
use forenoon_planner::{JobIx, Seconds, UnitIx};
use forenoon_store::entity::plan_stop;

use crate::fleet::Fleet;
use crate::inputs::DayInputs;
use crate::leg::Leg;
use crate::places::Places;
use crate::visit::stood_still;

/// How far a crew's day has got, from its reports and, where it has not reported, from the plan it goes by: a stop that
/// should have begun counts as begun, since a report may only be late.
pub(crate) fn progress(
    inputs: &DayInputs,
    places: &Places,
    fleet: &Fleet,
    job_ids: &[String],
    crew_id: &str,
    crew: &Crew,
) -> Progress {
    let Some((base, from)) = &inputs.base else {
        return Progress::NotStarted;
    };
    let now = inputs.clock.seconds(*from);
    let departed = base
        .day_of(crew_id)
        .and_then(|day| day.depart_time)
        .is_some_and(|depart| depart <= *from);
    let mut frozen = Vec::new();
    let mut ready_at = now.max(crew.shift_start);
    for stop in base.stops_of(crew_id) {
        if inputs.continued.contains_key(&stop.job_id) {
            // Broken off: the crew stands there, and what is left is planned anew.
            continue;
        }
        if let Some(end) = given_up(inputs, stop) {
            ready_at = ready_at.max(inputs.clock.nearest(end));
            continue;
        }
        let Some(times) = begun(inputs, stop, now) else {
            continue;
        };
        let Some(job) = job_ids.iter().position(|id| *id == stop.job_id) else {
            continue;
        };
        // A clock may have been wrong: reports count as near as the axis goes.
        let [arrival, start, finish] = times.map(|at| inputs.clock.on_axis(at));
        // Reports of two stops may overlap by a few minutes; the planner wants them one after the other.
        let arrival = frozen
            .last()
            .map_or(arrival, |last: &FrozenStop| arrival.max(last.finish));
        let start = start.max(arrival);
        let finish = finish.max(start);
        frozen.push(FrozenStop {
            job: JobIx::from_ix(job),
            arrival,
            start,
            finish,
            units: Vec::new(),
        });
        ready_at = ready_at.max(finish);
    }
    if let Some(call) = inputs.calls_begun(crew_id).last() {
        ready_at = ready_at.max(inputs.clock.nearest(call.leave_time));
    }
    // Who drives goes on to where it drives, and is free for something else from there.
    let leg = inputs.leg(crew_id).map(Leg::end);
    let seen = leg.or_else(|| inputs.last_seen(crew_id));
    let is_out = departed || seen.is_some() || inputs.is_out_with_units(crew_id);
    if frozen.is_empty() && !is_out {
        return Progress::NotStarted;
    }
    let mut place = crew.start;
    if let Some(seen) = seen {
        let known = seen
            .site_id
            .map_or(Some(places.yard()), |site| places.site(site));
        place = known.unwrap_or(place);
        ready_at = ready_at.max(inputs.clock.nearest(seen.since));
    }
    // Nobody is called from a break.
    for pause in inputs.breaks_settled(crew_id) {
        ready_at = ready_at.max(inputs.clock.nearest(pause.end_time));
    }
    let aboard: Vec<UnitIx> = fleet
        .unit_ids
        .iter()
        .enumerate()
        .filter(|(_, id)| inputs.has_aboard(crew_id, id))
        .filter(|(ix, _)| {
            fleet.units.get(*ix).is_some_and(|unit| {
                // What goes away later in the day is aboard until then.
                unit.available
                    .iter()
                    .any(|window| window.covers(ready_at, ready_at))
            })
        })
        .map(|(ix, _)| UnitIx::from_ix(ix))
        .collect();
    Progress::UnderWay(UnderWay {
        place,
        ready_at,
        aboard,
        frozen,
        breaks_taken: inputs.breaks_taken(crew_id, crew, ready_at),
    })
}

/// When the crew gave the stop up, where it did.
fn given_up(inputs: &DayInputs, stop: &plan_stop::Model) -> Option<DateTime<Utc>> {
    inputs
        .given_up(&stop.job_id)
        .filter(|visit| visit.crew_id == stop.crew_id)
        .and_then(|visit| visit.finish_time)
}

/// Arrival, start and finish of a stop that has begun by `now`; none for one still to come. A stop that runs is
/// expected to take what was planned for it, and not to be over before now.
pub(crate) fn begun(
    inputs: &DayInputs,
    stop: &plan_stop::Model,
    now: Seconds,
) -> Option<[Seconds; 3]> {
    let clock = &inputs.clock;
    let more = inputs.overruns.get(&stop.job_id).copied().unwrap_or(0);
    let planned = (stop.finish_time - stop.start_time).num_seconds() + more;
    // A stop for the rest of a job goes by its own times where its crew began the job: the visit began before it.
    let rest = inputs.base.as_ref().is_some_and(|(base, _)| {
        base.plan.proposal.as_ref().is_some_and(|facts| {
            facts
                .continued
                .iter()
                .any(|one| one.job_id == stop.job_id && inputs.resumes(stop, one))
        })
    });
    if let Some(visit) = inputs
        .visit_of(stop)
        .filter(|visit| !rest || visit.finish_time.is_some())
    {
        // A crew that is there begins at once; one that is on its way may still be sent elsewhere.
        if let Some(begun) = visit.start_time.or(visit.arrive_time) {
            let start = clock.seconds(begun);
            let arrival = visit.arrive_time.map_or(start, |at| clock.seconds(at));
            let finish = visit.finish_time.map_or_else(
                || (start + planned + stood(inputs, stop, begun)).max(now),
                |finish| clock.seconds(finish),
            );
            return Some([arrival, start, finish]);
        }
    }
    let start = clock.seconds(stop.start_time);
    if inputs.is_on_its_way(stop) {
        return None;
    }
    let more = more + stood(inputs, stop, stop.start_time);
    let planned = planned + stood(inputs, stop, stop.start_time);
    (stop.fixed || start <= now).then(|| {
        [
            clock.seconds(stop.arrive_time),
            start,
            (clock.seconds(stop.finish_time) + more).max(if stop.fixed {
                start
            } else {
                now.min(start + planned)
            }),
        ]
    })
}

/// Seconds for which work at a stop has stood still since it began, beyond the breaks that are part of what was planned for
/// it: a break may be told as a pause too.
fn stood(inputs: &DayInputs, stop: &plan_stop::Model, begun: DateTime<Utc>) -> Seconds {
    let Some((_, now)) = &inputs.base else {
        return 0;
    };
    let paused = inputs
        .visit_of(stop)
        .map_or(0, |visit| stood_still(visit, begun, *now));
    let until = Ord::min(stop.finish_time, *now);
    let rested = inputs.rested(&stop.crew_id, stop.start_time, until);
    (paused - rested).max(0)
}
