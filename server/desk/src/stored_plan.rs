//! A plan with all its rows.

use forenoon_store::entity::plan_draft::PlanParts;
use forenoon_store::entity::{plan, plan_crew_day, plan_load_out, plan_stop, plan_unplanned};

/// A plan with all its rows: crew days by crew, load-outs by unit, stops by crew and position, unplanned jobs by
/// position.
#[derive(Clone, Debug, PartialEq)]
pub struct StoredPlan {
    /// The plan itself.
    pub plan: plan::Model,
    /// Its crews' days.
    pub crew_days: Vec<plan_crew_day::Model>,
    /// The units aboard.
    pub load_outs: Vec<plan_load_out::Model>,
    /// The visits.
    pub stops: Vec<plan_stop::Model>,
    /// The jobs that did not fit.
    pub unplanned: Vec<plan_unplanned::Model>,
}

impl StoredPlan {
    /// A plan and its parts.
    pub fn new(plan: plan::Model, parts: PlanParts) -> Self {
        let PlanParts {
            crew_days,
            load_outs,
            stops,
            unplanned,
        } = parts;
        Self {
            plan,
            crew_days,
            load_outs,
            stops,
            unplanned,
        }
    }

    /// Its parts.
    pub fn parts(&self) -> PlanParts {
        PlanParts {
            crew_days: self.crew_days.clone(),
            load_outs: self.load_outs.clone(),
            stops: self.stops.clone(),
            unplanned: self.unplanned.clone(),
        }
    }

    /// A crew's stops, in order.
    pub fn stops_of<'a>(&'a self, crew: &'a str) -> impl Iterator<Item = &'a plan_stop::Model> {
        self.stops.iter().filter(move |stop| stop.crew_id == crew)
    }

    /// The stop of a job.
    pub fn stop_of(&self, job: &str) -> Option<&plan_stop::Model> {
        self.stops.iter().find(|stop| stop.job_id == job)
    }

    /// A crew's units aboard.
    pub fn load_out_of<'a>(&'a self, crew: &'a str) -> impl Iterator<Item = &'a str> {
        self.load_outs
            .iter()
            .filter(move |row| row.crew_id == crew)
            .map(|row| row.unit_id.as_str())
    }
}
