//! The published plan as a start for the search.

use forenoon_planner::cost::Breakdown;
use forenoon_planner::plan::{CrewPlan, Plan, Stop, TaskPlan, Visit};
use forenoon_planner::{JobIx, PlaceIx, UnitIx};
use forenoon_store::entity::plan_stop;

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
                .filter_map(|stop| Some(stop_at(stop, job(&stop.job_id)?, day, &unit)))
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

/// A stop as the published plan has it: job, tasks with their units, and times.
fn stop_at(
    stop: &plan_stop::Model,
    job: JobIx,
    day: &DayProblem,
    unit: &dyn Fn(&str) -> Option<UnitIx>,
) -> Stop {
    let seconds = |instant| day.seconds(instant);
    Stop {
        visit: Visit::Job {
            job,
            tasks: stop
                .tasks
                .0
                .iter()
                .map(|task| {
                    // The unit that gives the capability comes first, its powerhead after it.
                    let mut units = task.unit_ids.iter().map(|id| unit(id));
                    TaskPlan {
                        method: 0,
                        unit: units.next().flatten(),
                        powerhead: units.next().flatten(),
                        seconds: i64::from(task.duration_seconds),
                    }
                })
                .collect(),
        },
        place: PlaceIx(0),
        drive_seconds: i64::from(stop.drive_seconds),
        arrival: seconds(stop.arrive_time),
        start: seconds(stop.start_time),
        finish: seconds(stop.finish_time),
        wait_seconds: 0,
        slack_seconds: 0,
        frozen: false,
    }
}
