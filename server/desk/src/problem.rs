//! The planner's view of a branch's day.

use std::sync::Arc;

use chrono::{DateTime, Utc};
use forenoon_planner::plan::TaskPlan;
use forenoon_planner::problem::{
    Crew, Faults, Parts, Progress, ServiceQuery, Tool, Weights, YardCall,
};
use forenoon_planner::risk::planned_for;
use forenoon_planner::travel::TravelFault;
use forenoon_planner::{Cancel, CrewIx, JobIx, Problem, Seconds, SkillIx, UnitIx};
use forenoon_store::entity::unit;
use forenoon_trade::rates::Rates;
use forenoon_trade::spread::deviations;

use crate::clock::DayClock;
use crate::exposure::{POINT_COST, POINTS_OF_A_DAY, limits, points, uses};
use crate::fleet::Fleet;
use crate::inputs::DayInputs;
use crate::lessons::Lessons;
use crate::places::{NoPlaces, Places};
use crate::progress::progress;
use crate::refused::{Numbers, Refusal};
use crate::roster::{Going, StaysIn, roster};
use crate::scale::money_scale;
use crate::service::ServiceTable;
use crate::wanted::Wants;
use crate::words::SkillNumbers;

/// What it costs to move a visit that a day's plan has told to crew and customer: a call, and some of their patience.
/// Common practice, no source.
const MOVED_JOB_MINOR: i64 = 1_000;
/// What it costs to give a job to another crew, which has never seen the site's sheet. Common practice, no source.
const CHANGED_CREW_MINOR: i64 = 2_500;
/// Calls at the yard that a crew may make in its day: each costs two drives, and who needs more is given the wrong jobs.
/// Common practice, no source.
const YARD_CALLS_MAX: u8 = 2;
/// Half of all tasks keep within their median.
const MEDIAN_PERCENT: i32 = 50;
/// Putting units down and taking others at the yard. Common practice, no source.
const YARD_CALL: Seconds = 10 * 60;

/// A planning problem with the branch's ids for the planner's numbers.
pub struct DayProblem {
    /// The problem.
    pub problem: Problem,
    /// Crews by number.
    pub crew_ids: Vec<String>,
    /// Units by number.
    pub unit_ids: Vec<String>,
    /// Jobs by number.
    pub job_ids: Vec<String>,
    /// A unit that stands for each class of like units, by the class's number.
    pub class_samples: Vec<unit::Model>,
    /// Vehicle and trailer of each crew, by its number.
    pub carriers: Vec<Vec<String>>,
    /// Crews that stay in, and why.
    pub staying: Vec<(String, StaysIn)>,
    skills: SkillNumbers,
    fleet: Fleet,
    lessons: Arc<Lessons>,
    clock: DayClock,
}

/// Why there is nothing to plan.
#[derive(Debug, thiserror::Error)]
pub enum NoProblem {
    /// No crew goes out.
    #[error("no crew goes out on the day")]
    NoCrew(Vec<(String, StaysIn)>),
    /// No job may be done on the day.
    #[error("no job may be done on the day")]
    NoJob,
    /// The drives cannot be reckoned. The store holds what the edge should have refused.
    #[error("drives cannot be reckoned: {0:?}")]
    Travel(Vec<TravelFault>),
    /// Records are beyond what the planner takes. The store holds what the edge should have refused, or too much of it.
    #[error("records are beyond what can be planned: {0:?}")]
    Refused(Vec<Refusal>),
    /// Nobody waits for it any more.
    #[error("cancelled")]
    Cancelled,
    /// The problem was built wrongly.
    #[error("the planner refuses the problem: {0}")]
    Unsound(Faults),
}

impl DayProblem {
    /// Builds the problem of a day.
    ///
    /// # Errors
    /// Where no crew goes out, where no job may be done, and where records are beyond what the planner takes.
    pub fn new(inputs: &DayInputs) -> Result<Self, NoProblem> {
        Self::until(inputs, &Cancel::new())
    }

    /// The same, given up when it is cancelled: drives by road may take a while to be found.
    ///
    /// # Errors
    /// Those of [`DayProblem::new`], and where it is cancelled.
    pub fn until(inputs: &DayInputs, cancel: &Cancel) -> Result<Self, NoProblem> {
        let places = Places::new(inputs, cancel).map_err(|why| match why {
            NoPlaces::Travel(faults) => NoProblem::Travel(faults),
            NoPlaces::Cancelled => NoProblem::Cancelled,
        })?;
        let mut skills = SkillNumbers::default();
        let rates = Rates::default();
        let lessons = &*inputs.lessons;
        let (going, staying) = roster(inputs, &places, lessons, &mut skills);
        if going.is_empty() {
            return Err(NoProblem::NoCrew(staying));
        }
        let fleet = Fleet::new(inputs, places.yard());
        let services = ServiceTable::new(inputs, &fleet, &rates, lessons);
        let crew_ids: Vec<String> = going.iter().map(|crew| crew.id.clone()).collect();
        let free: Vec<bool> = going.iter().map(|crew| !crew.stuck).collect();
        let yard_call = YardCall {
            place: places.yard(),
            seconds: YARD_CALL,
        };
        let scale = money_scale(inputs);
        let wants = Wants {
            inputs,
            places: &places,
            crew_ids: &crew_ids,
            free: &free,
            scale,
        };
        let (jobs, job_ids) = wants.jobs(&services, &mut skills);
        if jobs.is_empty() {
            return Err(NoProblem::NoJob);
        }
        let carriers = going.iter().map(|crew| crew.carriers.clone()).collect();
        let mut crews: Vec<Crew> = going
            .into_iter()
            .map(
                |Going {
                     id,
                     mut crew,
                     stuck,
                     ..
                 }| {
                    crew.progress = progress(inputs, &places, &fleet, &job_ids, &id, &crew);
                    if !stuck {
                        crew.calls_max = YARD_CALLS_MAX;
                        crew.yard_calls = vec![yard_call];
                    }
                    if let Progress::UnderWay(way) = &crew.progress {
                        let room = crew.load_space.saturating_sub(inputs.dead_litres(&id));
                        // What is aboard has room, whatever the records say of vehicle and trailer by now.
                        crew.load_space = room.max(fleet.litres(&way.aboard));
                    } else {
                        load_from_now(inputs, &id, &mut crew);
                    }
                    crew.exposure_limit = exposure_left(inputs, &job_ids, &id, &crew);
                    crew
                },
            )
            .collect();
        settle_who_has(inputs, &fleet, &crew_ids, &mut crews);
        let parts = Parts {
            travel: places.into_travel(),
            crews,
            classes: fleet.classes.clone(),
            units: fleet.units.clone(),
            share_units: true,
            plan_meetings: inputs.meetings,
            jobs,
            weights: weights(scale),
        };
        let numbers = Numbers {
            crew_ids: &crew_ids,
            unit_ids: &fleet.unit_ids,
            job_ids: &job_ids,
            samples: &fleet.samples,
        };
        let mut problem = Problem::new(parts, &mut |query| services.answer(query, &job_ids))
            .map_err(|faults| match numbers.refusals(&faults) {
                Some(refusals) => NoProblem::Refused(refusals),
                None => NoProblem::Unsound(faults),
            })?;
        if inputs.confidence_percent > MEDIAN_PERCENT {
            let share = f64::from(inputs.confidence_percent) / 100.0;
            problem = planned_for(&problem, deviations(share));
        }
        Ok(Self {
            problem,
            crew_ids,
            unit_ids: fleet.unit_ids.clone(),
            job_ids,
            class_samples: fleet.samples.clone(),
            carriers,
            staying,
            skills,
            fleet,
            lessons: Arc::clone(&inputs.lessons),
            clock: inputs.clock,
        })
    }

    /// The answers that the problem was made from.
    pub(crate) fn services<'a>(
        &'a self,
        inputs: &'a DayInputs,
        rates: &'a Rates,
    ) -> ServiceTable<'a> {
        ServiceTable::new(inputs, &self.fleet, rates, &self.lessons)
    }

    /// How long the tools of a stop's tasks run, whoever holds them, at the crew's pace: seconds, in the tasks' order.
    pub(crate) fn running_seconds(
        &self,
        services: &ServiceTable<'_>,
        crew: CrewIx,
        job: JobIx,
        tasks: &[TaskPlan],
    ) -> Vec<i32> {
        let crew = self.problem.crew(crew);
        let class = |unit: UnitIx| self.problem.unit(unit).class;
        tasks
            .iter()
            .enumerate()
            .map(|(task, plan)| {
                let tool = match (plan.unit.map(class), plan.powerhead.map(class)) {
                    (None, _) => Tool::Hand,
                    (Some(class), None) => Tool::Whole(class),
                    (Some(attachment), Some(powerhead)) => Tool::Pair {
                        attachment,
                        powerhead,
                    },
                };
                let query = ServiceQuery {
                    job,
                    task,
                    method: plan.method,
                    tool,
                    crew_size: crew.size,
                };
                let running = services.running(query, &self.job_ids);
                let seconds = running.to_seconds() * f64::from(crew.pace_permille) / 1_000.0;
                #[expect(
                    clippy::cast_possible_truncation,
                    reason = "clamped to a range that fits"
                )]
                let seconds = seconds.clamp(0.0, 1.0e6).round() as i32;
                seconds
            })
            .collect()
    }

    /// Whether a tool of the branch could do a task, were it not for the time that it takes.
    pub(crate) fn is_too_long(&self, inputs: &DayInputs, job: JobIx, task: usize) -> bool {
        let rates = Rates::default();
        let services = self.services(inputs, &rates);
        let Some(wanted) = self.problem.job(job).tasks.get(task) else {
            return false;
        };
        let sizes = || self.problem.crews().iter().map(|crew| crew.size);
        let takes_too_long = |method: usize, tool: Tool| {
            sizes().any(|crew_size| {
                let query = ServiceQuery {
                    job,
                    task,
                    method,
                    tool,
                    crew_size,
                };
                services.is_too_long(query, &self.job_ids)
            })
        };
        wanted.methods.iter().enumerate().any(|(ix, method)| {
            let mut tools = self.fleet.tools(method.capability);
            tools.any(|tool| takes_too_long(ix, tool))
        })
    }

    /// What it costs to leave a job out, minor units; none where it is not of the day.
    pub(crate) fn penalty_of(&self, job: &str) -> Option<i64> {
        let ix = self.job_ids.iter().position(|id| id == job)?;
        Some(self.problem.job(JobIx::from_ix(ix)).penalty)
    }

    /// An instant on the planner's axis.
    pub fn seconds(&self, instant: DateTime<Utc>) -> Seconds {
        self.clock.seconds(instant)
    }

    /// The id of a crew.
    pub fn crew_id(&self, crew: CrewIx) -> &str {
        self.crew_ids.get(crew.ix()).map_or("", String::as_str)
    }

    /// The id of a unit.
    pub fn unit_id(&self, unit: UnitIx) -> &str {
        self.unit_ids.get(unit.ix()).map_or("", String::as_str)
    }

    /// The id of a job.
    pub fn job_id(&self, job: JobIx) -> &str {
        self.job_ids.get(job.ix()).map_or("", String::as_str)
    }

    /// A skill in words.
    pub fn skill(&self, skill: SkillIx) -> &str {
        self.skills.word(skill)
    }
}

/// What counts in a plan, in the branch's currency.
fn weights(scale: i64) -> Weights {
    let usual = Weights::default();
    Weights {
        exposure_point: POINT_COST * scale,
        moved_job: MOVED_JOB_MINOR * scale,
        changed_crew: CHANGED_CREW_MINOR * scale,
        distance_per_km: usual.distance_per_km * scale,
        load_unit: usual.load_unit * scale,
        promise_broken: usual.promise_broken * scale,
        promise_late_per_hour: usual.promise_late_per_hour * scale,
        changed_promise: usual.changed_promise * scale,
        ..usual
    }
}

/// What is left of each worker's limit for the part of a crew's day still to come, where the branch plans by limits.
fn exposure_left(
    inputs: &DayInputs,
    job_ids: &[String],
    crew_id: &str,
    crew: &Crew,
) -> Option<u32> {
    let rule = &inputs.branch.exposure;
    if !rule.plan_within_limits {
        return None;
    }
    let begun = match &crew.progress {
        Progress::UnderWay(way) => &way.frozen[..],
        Progress::NotStarted => &[],
    };
    let tasks = begun
        .iter()
        .filter_map(|stop| job_ids.get(stop.job.ix()))
        .filter_map(|job| inputs.base.as_ref()?.0.stop_of(job))
        .flat_map(|stop| inputs.named(stop));
    let worked = inputs.worked_by(crew_id);
    let limits = limits(rule);
    let taken: u32 = uses(&inputs.units, tasks.chain(&worked))
        .iter()
        .map(|of| points(&limits, of, crew.size))
        .sum();
    Some(POINTS_OF_A_DAY.saturating_sub(taken))
}

/// A unit that one crew should have handed on by now, and still has by its reports, is not yet with the next.
fn settle_who_has(inputs: &DayInputs, fleet: &Fleet, crew_ids: &[String], crews: &mut [Crew]) {
    let Some((base, _)) = &inputs.base else {
        return;
    };
    for (ix, id) in fleet.unit_ids.iter().enumerate() {
        let unit = UnitIx::from_ix(ix);
        let mut has_it = None;
        for spell in base.spells_of(id) {
            let crew = crew_ids.iter().position(|crew| *crew == spell.crew_id);
            let Some(Progress::UnderWay(way)) = crew
                .and_then(|crew| crews.get_mut(crew))
                .map(|crew| &mut crew.progress)
            else {
                continue;
            };
            if has_it.is_some_and(|known| Some(known) != crew) {
                way.aboard.retain(|aboard| *aboard != unit);
            } else if way.aboard.contains(&unit) {
                has_it = crew;
            }
        }
    }
}

/// A crew that has not left stands at the yard: it can leave from now on, and once its break is over, as long as its shift
/// lasts.
fn load_from_now(inputs: &DayInputs, crew_id: &str, crew: &mut Crew) {
    let goes_on_from = inputs.base.as_ref().map(|(_, from)| *from);
    let Some(from) = goes_on_from.or(inputs.not_before) else {
        return;
    };
    let rested = inputs.breaks_settled(crew_id).map(|one| one.end_time).max();
    let from = rested.map_or(from, |rested| rested.max(from));
    let now = inputs.clock.seconds(from);
    let taken = inputs.breaks_taken(crew_id, crew, now);
    crew.breaks.drain(..taken);
    if goes_on_from.is_none() {
        // No plan says when they were, and what had to begin by now was had in the yard.
        crew.breaks.retain(|one| one.latest >= now);
    }
    if now > crew.shift_start {
        crew.overtime_max = (crew.overtime_max - (now - crew.shift_end).max(0)).max(0);
        crew.shift_start = now;
        crew.shift_end = crew.shift_end.max(now + 1);
    }
}
