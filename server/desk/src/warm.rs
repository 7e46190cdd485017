//! The published plan as a start for the search.

use forenoon_planner::cost::Breakdown;
use forenoon_planner::plan::{CrewPlan, Plan, Stop, TaskPlan, Visit};
use forenoon_planner::{CrewIx, JobIx, PlaceIx, UnitIx};
use forenoon_store::entity::plan_stop;
use forenoon_store::value::YardStop;

use crate::inputs::DayInputs;
use crate::problem::DayProblem;
use crate::stored_plan::StoredPlan;

/// The published plan in the planner's numbers, as the day goes on. The search keeps of it what is still
/// possible.
pub fn warm_start(inputs: &DayInputs, day: &DayProblem, base: &StoredPlan) -> Plan {
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
        .zip(day.problem.crews())
        .map(|(crew, numbers)| {
            let jobs = base
                .stops_of(crew)
                .filter_map(|stop| Some(stop_at(stop, job(&stop.job_id)?, day, &unit)));
            let to_come = |call: &&YardStop| !inputs.has_made(crew, call);
            let calls = numbers.yard_calls.first().into_iter().flat_map(|yard| {
                let calls = base.calls_of(crew).filter(to_come);
                calls.filter_map(|call| match &call.with_crew_id {
                    Some(with) => meeting_at(call, with, yard.place, (inputs, day), &unit),
                    None => Some(call_at(call, yard.place, day, &unit)),
                })
            });
            let mut stops: Vec<Stop> = jobs.chain(calls).collect();
            stops.sort_by_key(|stop| stop.start);
            let first = base
                .load_out_of(crew)
                .filter(|id| base.leaves_with(crew, id) && !inputs.is_missing(crew, id));
            CrewPlan {
                load_out: first.filter_map(unit).collect(),
                stops,
                ..CrewPlan::default()
            }
        })
        .collect();
    Plan {
        crews,
        unplanned: Vec::new(),
        cost: Breakdown::default(),
    }
}

/// A call at the yard as the published plan has it.
fn call_at(
    call: &YardStop,
    place: PlaceIx,
    day: &DayProblem,
    unit: &dyn Fn(&str) -> Option<UnitIx>,
) -> Stop {
    let units = |ids: &[String]| ids.iter().filter_map(|id| unit(id)).collect();
    let [arrival, finish] = [call.arrive_time, call.leave_time].map(|at| day.seconds(at));
    Stop {
        visit: Visit::Yard {
            load: units(&call.load),
            unload: units(&call.unload),
        },
        place,
        drive_seconds: call.drive_seconds,
        arrival,
        start: arrival,
        finish,
        wait_seconds: 0,
        slack_seconds: 0,
        frozen: false,
    }
}

/// A meeting as the published plan has it, if both crews and the place are still there. One that has begun begins now: the
/// units are still with those who had them.
fn meeting_at(
    call: &YardStop,
    with: &str,
    yard: PlaceIx,
    (inputs, day): (&DayInputs, &DayProblem),
    unit: &dyn Fn(&str) -> Option<UnitIx>,
) -> Option<Stop> {
    let with = day.crew_ids.iter().position(|known| known == with)?;
    let place = match &call.site_id {
        None => yard,
        Some(site) => {
            let at_site = |id: &String| {
                let job = inputs.jobs.iter().find(|job| job.id == *id);
                job.is_some_and(|job| job.site_id == *site)
            };
            let job = JobIx::from_ix(day.job_ids.iter().position(at_site)?);
            day.problem.job(job).place
        }
    };
    let mut stop = call_at(call, place, day, unit);
    let Visit::Yard { load, unload } = stop.visit else {
        return None;
    };
    let planned = day.seconds(call.begins());
    let now = inputs.base.as_ref().map(|(_, now)| day.seconds(*now));
    let start = now.map_or(planned, |now| planned.max(now));
    stop.visit = Visit::Meet {
        with: CrewIx::from_ix(with),
        give: unload,
        take: load,
    };
    stop.arrival = stop.arrival.min(start);
    stop.start = start;
    stop.finish += start - planned;
    Some(stop)
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
                        wait_seconds: 0,
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
        slack_seconds: i64::from(stop.slack_seconds),
        frozen: false,
    }
}
