//! Visits, from rows to the wire.

use forenoon_proto::v1;
use forenoon_store::entity::{crew_load, visit};
use forenoon_store::value::{TaskActual, VisitState, WalkOutcome, Walkthrough};

use crate::edge::name::in_branch;
use crate::edge::time;
use crate::work;

/// A row as the wire has it.
pub(crate) fn to_wire(row: visit::Model) -> v1::Visit {
    let stretches = work::visit::pauses(&row);
    let paused = stretches
        .iter()
        .filter_map(|stretch| Some((stretch.end? - stretch.start).num_seconds()))
        .sum();
    let visit::Model {
        branch_id,
        job_id,
        attempt,
        plan_id,
        crew_id,
        state,
        depart_time,
        arrive_time,
        start_time,
        finish_time,
        pauses: _,
        resume_times: _,
        task_actuals,
        bags,
        note,
        not_done_reason,
        // The reason says it in words.
        ended_by_plan_id: _,
        walkthroughs,
    } = row;
    v1::Visit {
        job: in_branch(&branch_id, "jobs", &job_id),
        plan: work::plan::name(&branch_id, &plan_id),
        crew: in_branch(&branch_id, "crews", &crew_id),
        start_time: start_time.map(time::timestamp),
        finish_time: finish_time.map(time::timestamp),
        task_actuals: task_actuals
            .0
            .into_iter()
            .map(|actual| task_actual(&branch_id, actual))
            .collect(),
        bags,
        note,
        state: self::state(state).into(),
        depart_time: depart_time.map(time::timestamp),
        arrive_time: arrive_time.map(time::timestamp),
        paused: Some(time::duration(paused)),
        not_done_reason,
        walkthroughs: walkthroughs.0.into_iter().map(walkthrough).collect(),
        pauses: stretches
            .into_iter()
            .map(|stretch| v1::Pause {
                start_time: Some(time::timestamp(stretch.start)),
                end_time: stretch.end.map(time::timestamp),
                reason: stretch.reason,
            })
            .collect(),
        attempt,
    }
}

fn task_actual(branch: &str, actual: TaskActual) -> v1::TaskActual {
    let TaskActual {
        task_id,
        duration_seconds,
        unit_ids,
    } = actual;
    v1::TaskActual {
        task_id,
        duration: Some(time::duration(i64::from(duration_seconds))),
        units: units(branch, &unit_ids),
    }
}

fn units(branch: &str, ids: &[String]) -> Vec<String> {
    ids.iter()
        .map(|unit| in_branch(branch, "units", unit))
        .collect()
}

fn walkthrough(walk: Walkthrough) -> v1::Walkthrough {
    let Walkthrough {
        before_work,
        outcome,
        walk_time,
        note,
        photos,
    } = walk;
    v1::Walkthrough {
        before_work,
        outcome: match outcome {
            WalkOutcome::Met => v1::WalkthroughOutcome::Met,
            WalkOutcome::NotHome => v1::WalkthroughOutcome::NotHome,
            WalkOutcome::CrewOnly => v1::WalkthroughOutcome::CrewOnly,
        }
        .into(),
        walk_time: Some(time::timestamp(walk_time)),
        note,
        photos,
    }
}

const fn state(state: VisitState) -> v1::VisitState {
    match state {
        VisitState::UnderWay => v1::VisitState::UnderWay,
        VisitState::Arrived => v1::VisitState::Arrived,
        VisitState::Working => v1::VisitState::Working,
        VisitState::Paused => v1::VisitState::Paused,
        VisitState::Done => v1::VisitState::Done,
        VisitState::NotDone => v1::VisitState::NotDone,
    }
}

/// What a crew has loaded.
pub(crate) fn load(row: crew_load::Model) -> v1::CrewLoad {
    let crew_load::Model {
        branch_id,
        plan_id,
        crew_id,
        load_time,
        missing_unit_ids,
    } = row;
    v1::CrewLoad {
        plan: work::plan::name(&branch_id, &plan_id),
        crew: in_branch(&branch_id, "crews", &crew_id),
        load_time: Some(time::timestamp(load_time)),
        missing_units: units(&branch_id, &missing_unit_ids.0),
    }
}
