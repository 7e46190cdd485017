//! The published plan as a start for the search.

use forenoon_planner::cost::Breakdown;
use forenoon_planner::plan::{CrewPlan, Plan, Stop, Visit};
use forenoon_planner::{JobIx, PlaceIx, UnitIx};

use crate::problem::DayProblem;
use crate::stored_plan::StoredPlan;

/// The published plan in the planner's numbers. The search keeps of it what is still possible.
pub fn warm_start(day: &DayProblem, base: &StoredPlan) -> Plan {
    let job = |id: &str| {
        day.job_ids
            .iter()
            .position(|known| known == id)
            .map(JobIx::from_ix)
    };
    let unit = |id: &str| {
        day.unit_ids
            .iter()
            .position(|known| known == id)
            .map(UnitIx::from_ix)
    };
    let crews: Vec<CrewPlan> = day
        .crew_ids
        .iter()
        .map(|crew| CrewPlan {
            load_out: base.load_out_of(crew).filter_map(unit).collect(),
            stops: base
                .stops_of(crew)
                .filter_map(|stop| job(&stop.job_id))
                .map(stop_at)
                .collect(),
            ..CrewPlan::default()
        })
        .collect();
    Plan {
        crews,
        unplanned: Vec::new(),
        cost: Breakdown::default(),
    }
}

/// A stop of which the search reads the job alone.
fn stop_at(job: JobIx) -> Stop {
    Stop {
        visit: Visit::Job {
            job,
            tasks: Vec::new(),
        },
        place: PlaceIx(0),
        drive_seconds: 0,
        arrival: 0,
        start: 0,
        finish: 0,
        wait_seconds: 0,
        slack_seconds: 0,
        frozen: false,
    }
}
