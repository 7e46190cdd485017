//! Plans of two crews written down stop by stop. Every drive takes ten minutes, and every change of units five.

use forenoon_planner::check::Violation;
use forenoon_planner::index::*;
use forenoon_planner::plan::{CrewPlan, Stop, TaskPlan, Totals, Visit};
use forenoon_planner::problem::{
    Bound, Break, Crew, Job, Meeting, Method, Parts, Progress, Promise, Role, ServiceQuery,
    ServiceTime, Task, Unit, UnitClass, Weights, Window, YardCall,
};
use forenoon_planner::travel::{Travel, Triangle};
use forenoon_planner::{Plan, Problem, Seconds, check};

pub(crate) const DRIVE: Seconds = 600;
pub(crate) const CHANGE: Seconds = 300;
/// When shifts begin.
pub(crate) const BEGIN: Seconds = 7 * 3_600;
/// The two units; both stand at the yard.
pub(crate) const X: UnitIx = UnitIx(0);
pub(crate) const Y: UnitIx = UnitIx(1);
const YARD: PlaceIx = PlaceIx(0);
const CROSSROADS: PlaceIx = PlaceIx(1);
const ANY_TIME: Window = Window {
    open: 0,
    close: 48 * 3_600,
};

/// A job of one task.
#[derive(Clone, Copy)]
pub(crate) struct Site {
    /// The unit it is done with; by hand without one.
    pub(crate) unit: Option<UnitIx>,
    pub(crate) median: u32,
    pub(crate) deviation_permille: u16,
    /// Work is promised to start by then.
    pub(crate) start_by: Option<Seconds>,
    /// No other crew may do it.
    pub(crate) crew: Option<CrewIx>,
}

impl Site {
    pub(crate) const fn certain(unit: Option<UnitIx>, median: u32) -> Self {
        Self {
            unit,
            median,
            deviation_permille: 0,
            start_by: None,
            crew: None,
        }
    }

    pub(crate) const fn uncertain(self, deviation_permille: u16) -> Self {
        Self {
            deviation_permille,
            ..self
        }
    }

    pub(crate) const fn by(self, start_by: Seconds) -> Self {
        Self {
            start_by: Some(start_by),
            ..self
        }
    }

    pub(crate) const fn with(self, crew: u32) -> Self {
        Self {
            crew: Some(CrewIx(crew)),
            ..self
        }
    }
}

/// The problem of crews whose shifts begin then, and of these jobs.
pub(crate) fn problem(shifts: [Seconds; 2], sites: &[Site]) -> Problem {
    problem_with([vec![], vec![]], shifts, sites)
}

/// The same, and when the crews rest.
pub(crate) fn problem_with(
    breaks: [Vec<Break>; 2],
    shifts: [Seconds; 2],
    sites: &[Site],
) -> Problem {
    let places = sites.len() + 2;
    let table: Vec<Option<i64>> = (0..places * places)
        .map(|ix| Some(if ix / places == ix % places { 0 } else { DRIVE }))
        .collect();
    let class = |capability| UnitClass {
        role: Role::Whole,
        capabilities: vec![CapabilityIx(capability)],
        width_mm: 0,
        slope_max_permille: 1_000,
        space: 1,
        wear_per_hour: 0,
        noisy: false,
    };
    let unit = |class| Unit {
        class: ClassIx(class),
        home: YARD,
        available: vec![ANY_TIME],
    };
    let parts = Parts {
        travel: Travel::from_table(places, &table, None, Triangle::Accept).unwrap(),
        crews: shifts.into_iter().zip(breaks).map(crew).collect(),
        classes: vec![class(0), class(1)],
        units: vec![unit(0), unit(1)],
        share_units: true,
        plan_meetings: false,
        jobs: sites.iter().enumerate().map(job).collect(),
        weights: Weights::default(),
    };
    let mut service = |query: ServiceQuery| {
        let site = &sites[query.job.ix()];
        Some(ServiceTime {
            seconds: site.median,
            bound_seconds: site.median,
            log_deviation_permille: site.deviation_permille,
            exposure: 0,
        })
    };
    Problem::new(parts, &mut service).unwrap()
}

fn crew((shift_start, breaks): (Seconds, Vec<Break>)) -> Crew {
    Crew {
        day: 0,
        shift_start,
        shift_end: shift_start + 12 * 3_600,
        overtime_max: 0,
        start: YARD,
        end: YARD,
        skills: vec![],
        size: 1,
        pace_permille: 1_000,
        load_space: 4,
        wage_per_hour: 2_000,
        overtime_per_hour: 1_000,
        breaks,
        fair_load: None,
        exposure_limit: None,
        yard_calls: vec![YardCall {
            place: YARD,
            seconds: CHANGE,
        }],
        calls_max: 3,
        progress: Progress::NotStarted,
    }
}

fn job((ix, site): (usize, &Site)) -> Job {
    let method = Method {
        capability: site.unit.map(|unit| CapabilityIx(unit.0)),
        gate_mm: None,
        slope_permille: 0,
    };
    Job {
        place: PlaceIx::from_ix(ix + 2),
        windows: vec![ANY_TIME],
        bound: Bound::Start,
        penalty: 10_000,
        due: None,
        skills: vec![],
        crew_size_min: 0,
        crews: site.crew.map(|crew| vec![crew]),
        promise: site.start_by.map(|close| Promise {
            at: Meeting::Start,
            open: 0,
            close,
            hard: false,
        }),
        quiet: vec![],
        fixed_seconds: 0,
        tasks: vec![Task {
            methods: vec![method],
        }],
        previous: None,
    }
}

/// One crew's day, up to where it is written.
pub(crate) struct Day<'p> {
    problem: &'p Problem,
    place: PlaceIx,
    pub(crate) at: Seconds,
    plan: CrewPlan,
}

impl<'p> Day<'p> {
    pub(crate) fn new(problem: &'p Problem, crew: u32, load_out: &[UnitIx]) -> Self {
        let crew = problem.crew(CrewIx(crew));
        Self {
            problem,
            place: YARD,
            at: match &crew.progress {
                Progress::NotStarted => crew.shift_start,
                Progress::UnderWay(way) => way.ready_at,
            },
            plan: CrewPlan {
                load_out: load_out.to_vec(),
                ..CrewPlan::default()
            },
        }
    }

    /// What is done or running already.
    pub(crate) fn done(mut self, stop: &Stop) -> Self {
        self.place = stop.place;
        self.at = stop.finish;
        self.plan.stops.push(Stop {
            frozen: true,
            ..stop.clone()
        });
        self
    }

    /// Does a job; all of them are done with the unit that their capability is named after.
    pub(crate) fn work(self, job: u32) -> Self {
        let task = &self.problem.job(JobIx(job)).tasks[0];
        let unit = task.methods[0]
            .capability
            .map(|capability| UnitIx(capability.0));
        let choices = self.problem.tool_choices(JobIx(job), 0, 1);
        let seconds = Seconds::from(choices[0].seconds);
        let visit = Visit::Job {
            job: JobIx(job),
            tasks: vec![TaskPlan {
                method: 0,
                unit,
                powerhead: None,
                seconds,
                wait_seconds: 0,
            }],
        };
        let place = self.problem.job(JobIx(job)).place;
        self.stop(visit, place, seconds, 0)
    }

    /// Calls at the yard, and waits there until an instant.
    pub(crate) fn call(self, unload: &[UnitIx], load: &[UnitIx], until: Seconds) -> Self {
        let visit = Visit::Yard {
            unload: unload.to_vec(),
            load: load.to_vec(),
        };
        self.stop(visit, YARD, CHANGE, until)
    }

    /// Meets the other crew at the crossroads, and waits there until an instant.
    pub(crate) fn meet(self, with: u32, give: &[UnitIx], take: &[UnitIx], until: Seconds) -> Self {
        let visit = Visit::Meet {
            with: CrewIx(with),
            give: give.to_vec(),
            take: take.to_vec(),
        };
        self.stop(visit, CROSSROADS, CHANGE, until)
    }

    fn stop(mut self, visit: Visit, place: PlaceIx, work: Seconds, until: Seconds) -> Self {
        let arrival = self.drive(place);
        let start = arrival.max(until);
        self.plan.stops.push(Stop {
            visit,
            place,
            drive_seconds: arrival - self.at,
            arrival,
            start,
            finish: start + work,
            wait_seconds: start - arrival,
            slack_seconds: 0,
            frozen: false,
        });
        self.plan.totals.work_seconds += work;
        self.plan.totals.wait_seconds += start - arrival;
        self.at = start + work;
        self
    }

    fn drive(&mut self, place: PlaceIx) -> Seconds {
        let seconds = self.problem.travel().table_seconds(self.place, place);
        self.plan.totals.drive_seconds += seconds;
        self.place = place;
        self.at + seconds
    }

    /// The day, with the way home.
    pub(crate) fn home(mut self) -> CrewPlan {
        let back_at = self.drive(YARD);
        CrewPlan {
            back_at,
            totals: Totals {
                overtime_seconds: 0,
                ..self.plan.totals
            },
            ..self.plan
        }
    }
}

/// The plan of two days. The checker says what it costs, and that it is sound.
pub(crate) fn plan(problem: &Problem, days: [CrewPlan; 2]) -> Plan {
    let mut plan = unchecked(days);
    if let Err(found) = check(problem, &plan)
        && let [Violation::Cost { reckoned, .. }] = found[..]
    {
        plan.cost = reckoned;
    }
    assert_eq!(check(problem, &plan), Ok(plan.cost));
    plan
}

/// The same, sound or not.
pub(crate) fn unchecked(days: [CrewPlan; 2]) -> Plan {
    Plan {
        crews: days.into(),
        unplanned: vec![],
        cost: forenoon_planner::cost::Breakdown::default(),
    }
}
