//! What a branch's day is planned from, as it stands in the store.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use forenoon_store::entity::{branch, crew, job, site, tag_out, unit, visit, worker};
use forenoon_store::value::{HeatForecast, Severity, TagOutState, VisitState};

use crate::clock::DayClock;
use crate::drives::Drives;
use crate::lessons::PastVisit;
use crate::stored_plan::StoredPlan;

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
    /// The sites of those jobs, by id.
    pub sites: BTreeMap<String, site::Model>,
    /// The visits by job: the present one, or one given up on the day.
    pub visits: BTreeMap<String, visit::Model>,
    /// Finished visits of the past, to learn from.
    pub past: Vec<PastVisit>,
    /// Driving times that go before the branch's travel rule; none where the caller gave none.
    pub drives: Drives,
    /// The weather of the hottest hour of work; none where the caller gave none.
    pub heat: Option<HeatForecast>,
    /// The published plan to disturb as little as can be, and from when on things may change.
    pub base: Option<(StoredPlan, DateTime<Utc>)>,
}

impl DayInputs {
    /// How many workers are in a crew.
    pub fn crew_size(&self, crew: &str) -> usize {
        self.workers
            .iter()
            .filter(|worker| worker.crew_id.as_deref() == Some(crew))
            .count()
    }

    /// Whether a crew could not do the job on the day: it is for another day.
    pub fn was_given_up(&self, job: &str) -> bool {
        self.visits
            .get(job)
            .is_some_and(|visit| visit.state == VisitState::NotDone)
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
