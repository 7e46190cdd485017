//! A day on which two givers each meet a taker and hand a unit over.

use forenoon_planner::cost::Breakdown;
use forenoon_planner::index::*;
use forenoon_planner::plan::{CrewPlan, Plan, Stop, Visit};
use forenoon_planner::problem::{Crew, Parts, YardCall};
use forenoon_planner::{Problem, Seconds};

use super::plain::{HOUR, class, crew, job, parts, problem, road, unit};

/// The givers' crew numbers are even, those of the takers are one more.
pub const TAKERS: [usize; 2] = [1, 3];
/// Jobs of one giver and its taker: the giver's before the meeting, the one after it for which it fetches another unit, the
/// taker's before the meeting, and the one that it does with the unit handed over.
const JOBS: u32 = 4;
/// The meetings are planned for this instant, but both crews can be there before.
const MEETS_AT: Seconds = 5 * HOUR;

const YARD: u32 = 0;
const OTHER_YARD: u32 = 1;
const NEAR: u32 = 2;
/// Each pair meets at a place of its own.
const MEETS_IN: [u32; 2] = [3, 4];

/// What the taker does with the unit.
pub fn job_with_it(taker: usize) -> JobIx {
    JobIx::from_ix(taker / 2 * JOBS as usize + 3)
}

/// What the taker does before the meeting.
pub fn job_before(taker: usize) -> JobIx {
    JobIx::from_ix(taker / 2 * JOBS as usize + 2)
}

/// The parts of the day. Givers fetch another unit after the meeting, so with room for one they cannot do without it.
pub fn day(givers_space: u32) -> Parts {
    let jobs = |far| {
        [
            job(NEAR, &[0]),
            job(NEAR, &[1]),
            job(NEAR, &[]),
            job(far, &[0]),
        ]
    };
    let mut day = parts(
        road(&[0, 1_200, 600, 3_600, 3_700]),
        vec![class(0), class(1)],
        [0, 1]
            .iter()
            .flat_map(|_| [unit(0, YARD), unit(1, OTHER_YARD)])
            .collect(),
        [0, 1]
            .iter()
            .flat_map(|_| [calling(givers_space), calling(1)])
            .collect(),
        MEETS_IN.into_iter().flat_map(jobs).collect(),
    );
    (day.share_units, day.plan_meetings) = (true, true);
    day
}

fn calling(load_space: u32) -> Crew {
    Crew {
        load_space,
        yard_calls: vec![YardCall {
            place: PlaceIx(OTHER_YARD),
            seconds: 300,
        }],
        calls_max: 2,
        ..crew()
    }
}

/// The day's problem, with the plan in which both pairs meet.
pub fn planned(parts: Parts) -> (Problem, Plan) {
    let crews = [0, 1].into_iter().flat_map(|pair: u32| {
        let (unit, job) = (2 * pair, JOBS * pair);
        let far = parts.jobs[(job + 3) as usize].place.0;
        let giver = day_of(
            &[unit],
            vec![
                at_job(job, NEAR),
                meets(2 * pair + 1, far, &[unit], &[]),
                fetches(unit + 1),
                at_job(job + 1, NEAR),
            ],
        );
        let taker = day_of(
            &[],
            vec![
                at_job(job + 2, NEAR),
                meets(2 * pair, far, &[], &[unit]),
                at_job(job + 3, far),
            ],
        );
        [giver, taker]
    });
    let plan = Plan {
        crews: crews.collect(),
        unplanned: vec![],
        cost: Breakdown::default(),
    };
    (problem(parts), plan)
}

fn day_of(load_out: &[u32], stops: Vec<Stop>) -> CrewPlan {
    CrewPlan {
        load_out: units(load_out),
        stops,
        back_at: 12 * HOUR,
        ..CrewPlan::default()
    }
}

fn units(numbers: &[u32]) -> Vec<UnitIx> {
    numbers.iter().map(|unit| UnitIx(*unit)).collect()
}

fn at_job(job: u32, place: u32) -> Stop {
    let visit = Visit::Job {
        job: JobIx(job),
        tasks: vec![],
    };
    stop(visit, place, 0)
}

fn meets(with: u32, place: u32, give: &[u32], take: &[u32]) -> Stop {
    let visit = Visit::Meet {
        with: CrewIx(with),
        give: units(give),
        take: units(take),
    };
    stop(visit, place, MEETS_AT)
}

fn fetches(unit: u32) -> Stop {
    let visit = Visit::Yard {
        unload: vec![],
        load: units(&[unit]),
    };
    stop(visit, OTHER_YARD, 0)
}

/// Times of jobs and calls are the search's to find.
fn stop(visit: Visit, place: u32, start: Seconds) -> Stop {
    let meets = matches!(visit, Visit::Meet { .. });
    Stop {
        visit,
        place: PlaceIx(place),
        drive_seconds: 0,
        arrival: start,
        start,
        finish: if meets { start + 300 } else { start },
        wait_seconds: 0,
        slack_seconds: 0,
        frozen: false,
    }
}
