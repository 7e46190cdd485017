//! A plan with all its rows.

use std::sync::Arc;

use forenoon_store::entity::plan_draft::PlanParts;
use forenoon_store::entity::{plan, plan_stop};

/// A plan with all its rows.
#[derive(Clone, Debug, PartialEq)]
pub struct StoredPlan {
    /// The plan itself.
    pub plan: plan::Model,
    /// Its parts, which never change once it is stored.
    pub parts: Arc<PlanParts>,
}

impl StoredPlan {
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

    /// A crew's units aboard.
    pub fn load_out_of<'a>(&'a self, crew: &'a str) -> impl Iterator<Item = &'a str> {
        self.parts
            .load_outs
            .iter()
            .filter(move |row| row.crew_id == crew)
            .map(|row| row.unit_id.as_str())
    }
}
