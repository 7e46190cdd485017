//! What happened since the plan gone on from.

use forenoon_store::value::{Disruptions, TaskKind, WorkStop};

use crate::inputs::DayInputs;
use crate::stored_plan::StoredPlan;

/// What happened since the plan gone on from that no record tells: what was told before it is in that plan.
pub(super) struct News<'a> {
    /// Crews that cannot go on, by id.
    pub(super) absent_crews: Vec<&'a str>,
    /// Workers who are not there, by id.
    pub(super) absent_workers: Vec<&'a str>,
    /// Workers who are there again.
    pub(super) back: Vec<&'a str>,
    /// Work that has to wait.
    pub(super) work_stops: Vec<&'a WorkStop>,
    /// Kinds of work that had to wait and need not any longer.
    pub(super) resumed: Vec<TaskKind>,
}

impl<'a> News<'a> {
    /// What is told newly.
    pub(super) fn since(inputs: &'a DayInputs, before: &'a StoredPlan) -> Self {
        const NONE: &Disruptions = &Disruptions {
            absent_crews: Vec::new(),
            absent_workers: Vec::new(),
            overruns: Vec::new(),
            work_stops: Vec::new(),
            present_crews: Vec::new(),
            present_workers: Vec::new(),
            resumed_kinds: Vec::new(),
            units_moved: Vec::new(),
        };
        let facts = before.plan.proposal.as_ref();
        let known = facts.map_or(NONE, |facts| &facts.disruptions);
        let now = &inputs.disruptions;
        let waiting = |stops: &'a [WorkStop]| stops.iter().flat_map(|stop| &stop.kinds).copied();
        let waits_now = |kind: &TaskKind| waiting(&now.work_stops).any(|one| one == *kind);
        let mut resumed: Vec<TaskKind> = waiting(&known.work_stops)
            .filter(|kind| !waits_now(kind))
            .collect();
        resumed.dedup();
        Self {
            absent_crews: less(&now.absent_crews, &known.absent_crews),
            absent_workers: less(&now.absent_workers, &known.absent_workers),
            back: less(&known.absent_workers, &now.absent_workers),
            work_stops: now
                .work_stops
                .iter()
                .filter(|stop| !known.work_stops.contains(stop))
                .collect(),
            resumed,
        }
    }
}

fn less<'a>(all: &'a [String], known: &[String]) -> Vec<&'a str> {
    let new = all.iter().filter(|id| !known.contains(id));
    new.map(String::as_str).collect()
}
