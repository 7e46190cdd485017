//! What a branch's day is planned from, as it stands in the store.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use chrono::{DateTime, Utc};
use forenoon_planner::Seconds;
use forenoon_roads::Roads;
use forenoon_store::entity::{
    branch, crew, crew_load, job, plan_stop, site, tag_out, unit, visit, worker,
};
use forenoon_store::value::{
    Continued, Disruptions, HeatForecast, JobState, Severity, SplitJob, TagOutState, TaskKind,
    UnitOut, YardStop,
};

use crate::clock::DayClock;
use crate::drives::Drives;
use crate::left_out::LeftOut;
use crate::lessons::Lessons;
use crate::stored_plan::StoredPlan;
use crate::visit::is_given_up;

/// What a branch's day is planned from. Lists are in order of id, so that the same state gives the same problem.
#[derive(Clone, Debug)]
pub struct DayInputs {
    /// The branch.
    pub branch: branch::Model,
    /// The day.
    pub clock: DayClock,
    /// Its crews.
    pub crews: Vec<crew::Model>,
    /// Its workers.
    pub workers: Vec<worker::Model>,
    /// Its units that are not retired.
    pub units: Vec<unit::Model>,
    /// Its open tag-outs by unit.
    pub tags: BTreeMap<String, tag_out::Model>,
    /// Jobs that may be done on the day, and those that the base plan has.
    pub jobs: Vec<job::Model>,
    /// Jobs that are not planned, and that the plan tells of with the reason.
    pub left_out: Vec<LeftOut>,
    /// The sites of those jobs, by id.
    pub sites: BTreeMap<String, site::Model>,
    /// The visits of the day by job, the last one of each.
    pub visits: BTreeMap<String, visit::Model>,
    /// What finished visits of the past teach.
    pub lessons: Arc<Lessons>,
    /// Driving times that go before the branch's travel rule; none where the caller gave none.
    pub drives: Drives,
    /// The roads of the region, which go before the travel rule and after [`drives`](Self::drives); none where no file
    /// tells of them.
    pub roads: Option<Arc<Roads>>,
    /// The weather of the hottest hour of work; none where the caller gave none.
    pub heat: Option<HeatForecast>,
    /// Each task is planned at the length that so many in a hundred keep within; the median where not above 50.
    pub confidence_percent: i32,
    /// Crews may be planned to meet on the road.
    pub meetings: bool,
    /// When it is, where a day that has begun is planned from scratch: no crew leaves before.
    pub not_before: Option<DateTime<Utc>>,
    /// The published plan to disturb as little as can be, and from when on things may change.
    pub base: Option<(StoredPlan, DateTime<Utc>)>,
    /// Units that a service must come to before they go out again, where the company's rule is so.
    pub service_first: BTreeSet<String>,
    /// What happened that no record tells: of plans before, and newly.
    pub disruptions: Disruptions,
    /// Seconds by which jobs newly take longer than the published plan says.
    pub overruns: BTreeMap<String, Seconds>,
    /// What crews have confirmed to have loaded: for the plan gone on from, and for the one before it.
    pub loads: Vec<crew_load::Model>,
    /// Units that are out and on no load-out of the plan gone on from. [`take_stock`](Self::take_stock) finds them.
    pub out: Vec<UnitOut>,
    /// Units that stand with a crew or a trailer that can't go on, until somebody moves them.
    /// [`take_stock`](Self::take_stock) finds them.
    pub stranded: BTreeSet<String>,
    /// Units that were moved, as is newly told, with the crew that has each aboard; none where it is in the yard.
    /// [`take_stock`](Self::take_stock) finds them.
    pub moved: BTreeMap<String, Option<String>>,
    /// Jobs broken off, with what is left of them. [`take_stock`](Self::take_stock) finds them.
    pub continued: BTreeMap<String, Continued>,
    /// Jobs cut to a part that is done today; [`split`](Self::split) cuts them.
    pub split: BTreeMap<String, SplitJob>,
}

impl DayInputs {
    /// How many workers are in a crew.
    pub fn crew_size(&self, crew: &str) -> usize {
        self.workers
            .iter()
            .filter(|worker| worker.crew_id.as_deref() == Some(crew))
            .count()
    }

    /// Calls on the way that a crew has made already in the plan gone on from, in order.
    pub(crate) fn calls_begun<'a>(&'a self, crew: &'a str) -> impl Iterator<Item = &'a YardStop> {
        let calls = self.base.iter().flat_map(|(base, _)| base.calls_of(crew));
        calls.filter(|call| self.has_made(crew, call))
    }

    /// Whether a crew has made a call of the plan gone on from. Who has come so far and is met by nobody waits.
    pub(crate) fn has_made(&self, crew: &str, call: &YardStop) -> bool {
        let crews = [Some(crew), call.with_crew_id.as_deref()];
        let mut crews = crews.into_iter().flatten();
        crews.all(|crew| self.has_reached(crew, call.counts_from()))
    }

    /// Whether a crew has come as far as an instant of the plan gone on from: it is over, and the crew is not by its own
    /// report still at a stop that was to begin before it.
    pub(crate) fn has_reached(&self, crew: &str, instant: DateTime<Utc>) -> bool {
        let Some((base, from)) = &self.base else {
            return false;
        };
        let is_at_it = |stop: &plan_stop::Model| {
            self.visit_of(stop).is_some_and(|visit| {
                visit.arrive_time.or(visit.start_time).is_some() && visit.finish_time.is_none()
            })
        };
        let mut before = base.stops_of(crew).filter(|stop| stop.start_time < instant);
        instant <= *from && !before.any(is_at_it)
    }

    /// What a unit must not do, by an open tag of reduced severity.
    pub fn forbidden(&self, unit: &str) -> &[TaskKind] {
        self.tags
            .get(unit)
            .filter(|tag| tag.state != TagOutState::Released)
            .map_or(&[], |tag| tag.forbidden_tasks.0.as_slice())
    }

    /// Whether a unit must not be loaded: by its own tag, by that of the trailer it rides on, or for a service.
    pub fn is_kept_in(&self, unit: &str) -> bool {
        self.is_tagged_out(unit)
            || self.service_first.contains(unit)
            || self.stranded.contains(unit)
    }

    /// Whether a crew could not do the job on the day: it is for another day, unless another crew has it by now.
    pub fn was_given_up(&self, job: &str) -> bool {
        self.given_up(job).is_some_and(|visit| {
            let with_another = self.base.as_ref().is_some_and(|(base, _)| {
                base.stop_of(job)
                    .is_some_and(|stop| stop.crew_id != visit.crew_id)
            });
            !with_another
        })
    }

    /// Whether a job is done.
    pub(crate) fn is_done(&self, job: &str) -> bool {
        let mut jobs = self.jobs.iter();
        jobs.any(|known| known.id == job && known.state == JobState::Done)
    }

    /// Whether a crew has had a job under way since another day, and it is still to come by the plan gone on from: until they
    /// report its end, nobody else can begin it.
    pub(crate) fn runs_elsewhere(&self, job: &str) -> bool {
        let mut jobs = self.jobs.iter();
        let runs = jobs.any(|known| known.id == job && known.state == JobState::Running);
        let has_begun = self.base.as_ref().is_some_and(|(base, from)| {
            let stop = base.stop_of(job);
            stop.is_some_and(|stop| stop.fixed || stop.start_time <= *from)
        });
        runs && !self.visits.contains_key(job) && !has_begun
    }

    /// The visit in which a crew gave the job up.
    pub(crate) fn given_up(&self, job: &str) -> Option<&visit::Model> {
        self.visits.get(job).filter(|visit| is_given_up(visit))
    }

    /// Whether a unit must not go out, by an open tag.
    pub fn is_tagged_out(&self, unit: &str) -> bool {
        self.tags.get(unit).is_some_and(keeps_in)
    }
}

/// Whether a tag keeps its unit in.
pub fn keeps_in(tag: &tag_out::Model) -> bool {
    tag.state != TagOutState::Released && tag.severity == Severity::Unsafe
}
