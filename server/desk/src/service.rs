//! How long each task takes with each tool and crew, by the trade library.

use std::collections::BTreeMap;

use forenoon_planner::problem::limits::SERVICE_SECONDS_MAX;
use forenoon_planner::problem::{ServiceQuery, ServiceTime, Tool};
use forenoon_store::entity::{job, unit};
use forenoon_store::value::{Promise, Task, TaskKind};
use forenoon_trade::equipment::{Equipment, ToolKind};
use forenoon_trade::estimate::{Crew, Estimate, LARGEST_CREW, estimate};
use forenoon_trade::exposure::Limits;
use forenoon_trade::exposure::heat::{Advice, Effort};
use forenoon_trade::rates::Rates;
use forenoon_trade::spread::Spread;
use forenoon_trade::task::Method;
use forenoon_trade::units::Minutes;

use crate::exposure::{Use, limits, points};
use crate::fleet::Fleet;
use crate::heat::advice;
use crate::inputs::DayInputs;
use crate::lessons::Lessons;
use crate::trade_map::{JobWork, equipment, method, task_kind};

/// A crew as most are, where none is chosen yet.
const USUAL_CREW: Crew = Crew { size: 2 };
/// A meeting that was promised takes so long. Common practice, no source.
pub(crate) const MEETING: Minutes = Minutes::new(8.0);
/// Minutes agreed by people spread so much: nobody agrees to the minute.
pub(crate) const AGREED_LOG_DEVIATION: f64 = 0.15;

/// Answers the planner's questions about service times.
pub(crate) struct ServiceTable<'a> {
    inputs: &'a DayInputs,
    fleet: &'a Fleet,
    rates: &'a Rates,
    lessons: &'a Lessons,
    jobs: BTreeMap<&'a str, (&'a job::Model, JobWork<'a>)>,
    limits: Limits,
    advice: Option<Advice>,
}

impl<'a> ServiceTable<'a> {
    /// A table over the day's jobs and units.
    pub(crate) fn new(
        inputs: &'a DayInputs,
        fleet: &'a Fleet,
        rates: &'a Rates,
        lessons: &'a Lessons,
    ) -> Self {
        let jobs = inputs
            .jobs
            .iter()
            .filter_map(|job| {
                let site = inputs.sites.get(&job.site_id)?;
                Some((job.id.as_str(), (job, JobWork::new(job, site, rates))))
            })
            .collect();
        Self {
            inputs,
            fleet,
            rates,
            lessons,
            jobs,
            limits: limits(&inputs.branch.exposure),
            advice: inputs.heat.as_ref().and_then(advice),
        }
    }

    /// What the job takes a usual crew with usual tools, minutes.
    pub(crate) fn usual_minutes(&self, job: &job::Model) -> f64 {
        job.tasks
            .0
            .iter()
            .map(|task| {
                task.agreed_minutes.unwrap_or_else(|| {
                    let way = task
                        .capabilities
                        .first()
                        .map_or(Some(Method::OnFoot), |capability| method(*capability));
                    way.and_then(|way| {
                        self.minutes(&job.id, task, way, &Equipment::usual_for(way), USUAL_CREW)
                    })
                    .map_or(0.0, |estimate| estimate.median.value())
                })
            })
            .sum()
    }

    /// The answer to one question; none where the tool does not suit. One that takes longer for a task than any task may
    /// last is no tool for it: the planner would refuse the whole day.
    pub(crate) fn answer(&self, query: ServiceQuery, job_ids: &[String]) -> Option<ServiceTime> {
        self.left(query, job_ids).filter(|time| !is_too_long(time))
    }

    /// Whether the tool could do the task, were it not for the time that it takes.
    pub(crate) fn is_too_long(&self, query: ServiceQuery, job_ids: &[String]) -> bool {
        self.left(query, job_ids).as_ref().is_some_and(is_too_long)
    }

    /// How long a task takes. Of a job that was broken off the rest counts, and one that takes longer does so in its first
    /// task.
    fn left(&self, query: ServiceQuery, job_ids: &[String]) -> Option<ServiceTime> {
        let whole = self.whole(query, job_ids)?;
        let (job, task) = self.task(query, job_ids)?;
        let left = self.left_permille(job, task);
        let rest = |figure: u32| u64::from(figure) * left / 1_000;
        let more = if query.task == 0 {
            self.inputs
                .disruptions
                .overruns
                .iter()
                .find(|overrun| overrun.job_id == job.id)
                .map_or(0, |overrun| overrun.extra_seconds.unsigned_abs())
        } else {
            0
        };
        let narrow = |figure: u64| u32::try_from(figure).unwrap_or(u32::MAX);
        Some(ServiceTime {
            seconds: narrow(rest(whole.seconds) + more),
            bound_seconds: narrow(rest(whole.bound_seconds) + more),
            exposure: narrow(rest(whole.exposure)),
            ..whole
        })
    }

    fn left_permille(&self, job: &job::Model, task: &Task) -> u64 {
        self.inputs
            .left_of(&job.id, &task.task_id)
            .clamp(0, 1_000)
            .unsigned_abs()
    }

    fn task(&self, query: ServiceQuery, job_ids: &[String]) -> Option<(&job::Model, &Task)> {
        let (job, _) = self.jobs.get(job_ids.get(query.job.ix())?.as_str())?;
        Some((job, job.tasks.0.get(query.task)?))
    }

    /// The answer for a whole task.
    fn whole(&self, query: ServiceQuery, job_ids: &[String]) -> Option<ServiceTime> {
        let (_, task) = self.task(query, job_ids)?;
        if self.is_forbidden(query.tool, task) {
            return None;
        }
        let (estimate, tool) = self.done(query, job_ids)?;
        let stretch = self.stretch(task, tool.kind)?;
        Some(ServiceTime {
            seconds: seconds(estimate.median.value() * stretch),
            bound_seconds: seconds(estimate.bound(1).value() * stretch),
            log_deviation_permille: permille(estimate.spread.sigma()),
            exposure: points(&self.limits, &tool, query.crew_size),
        })
    }

    /// Whether a tag forbids the tool, or a part of it, this kind of work.
    fn is_forbidden(&self, tool: Tool, task: &Task) -> bool {
        tool.classes().any(|class| {
            self.fleet
                .forbidden
                .get(class.ix())
                .is_some_and(|kinds| kinds.contains(&task.kind))
        })
    }

    /// How a whole task is done with a tool: its estimate in the shade, and the tool's use.
    fn done(&self, query: ServiceQuery, job_ids: &[String]) -> Option<(Estimate, Use<'_>)> {
        let (job, task) = self.task(query, job_ids)?;
        let crew = Crew {
            size: query.crew_size.clamp(1, LARGEST_CREW),
        };
        let way = match query.tool {
            Tool::Hand => Method::OnFoot,
            _ => task
                .capabilities
                .get(query.method)
                .copied()
                .and_then(method)?,
        };
        let units = self.units(query.tool);
        let tool = units
            .first()
            .map_or(Equipment::ON_FOOT, |unit| equipment(unit, way));
        let estimate = match task.agreed_minutes {
            Some(minutes) => agreed(minutes, &tool, crew),
            None => self.minutes(&job.id, task, way, &tool, crew)?,
        };
        let tool = Use {
            units,
            kind: tool.kind,
            running: estimate.running,
        };
        Some((estimate, tool))
    }

    /// How long the tool of a planned task runs, whoever holds it; of a job that was broken off, in what is left.
    pub(crate) fn running(&self, query: ServiceQuery, job_ids: &[String]) -> Minutes {
        let found = self.task(query, job_ids).zip(self.done(query, job_ids));
        found.map_or(Minutes::ZERO, |((job, task), (estimate, _))| {
            estimate.running * (self.left_permille(job, task) as f64 / 1_000.0)
        })
    }

    /// How much longer a task takes with the rests that the heat calls for; none where it is too hot for it.
    fn stretch(&self, task: &Task, tool: ToolKind) -> Option<f64> {
        self.advice.as_ref().map_or(Some(1.0), |advice| {
            let effort = Effort::of(task_kind(task.kind), tool);
            advice.rests(effort).stretch()
        })
    }

    /// Units that stand for the tool's classes: the attachment of a pair comes first.
    fn units(&self, tool: Tool) -> Vec<&unit::Model> {
        let samples = tool
            .classes()
            .map(|class| self.fleet.samples.get(class.ix()));
        samples.flatten().collect()
    }

    /// The estimate of one task. A tool that the trade rules out, for thick stems or tall turf, gives none.
    fn minutes(
        &self,
        job: &str,
        task: &Task,
        way: Method,
        tool: &Equipment,
        crew: Crew,
    ) -> Option<Estimate> {
        let (job, job_work) = self.jobs.get(job)?;
        let meeting = if self.is_meeting(job, task) {
            MEETING
        } else {
            Minutes::ZERO
        };
        job_work.fits(task, tool).ok()?;
        let work = job_work.work(task, way, meeting);
        if !way.can_do(task_kind(task.kind)) {
            return None;
        }
        let learned = self
            .lessons
            .learned((work.kind, way), &job.site_id, None, &work.condition);
        estimate(&work, tool, crew, self.rates, &learned).ok()
    }

    /// Whether the customer walks along.
    fn is_meeting(&self, job: &job::Model, task: &Task) -> bool {
        promise_at(job, task.kind)
            .is_some_and(|promise| self.inputs.clock.seconds(promise.end_time) >= 0)
    }
}

/// Whether a task is longer than the planner takes one.
fn is_too_long(time: &ServiceTime) -> bool {
    time.seconds.max(time.bound_seconds) > SERVICE_SECONDS_MAX
}

/// The promise that a walk keeps: the customer walks along.
pub(crate) fn promise_at(job: &job::Model, kind: TaskKind) -> Option<&Promise> {
    job.promise.as_ref().filter(|promise| {
        let walk = if promise.before_work {
            TaskKind::WalkBefore
        } else {
            TaskKind::WalkAfter
        };
        kind == walk
    })
}

/// Minutes that people agreed on, for the whole crew: nothing shortens them, and the tool is bound for all of them.
pub(crate) fn agreed(minutes: f64, tool: &Equipment, crew: Crew) -> Estimate {
    let median = Minutes::new(minutes);
    Estimate {
        median,
        spread: Spread::new(AGREED_LOG_DEVIATION),
        fixed: median,
        alone: Minutes::ZERO,
        running: if tool.kind.is_powered() {
            median
        } else {
            Minutes::ZERO
        },
        labour: median * f64::from(crew.size),
    }
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "clamped to a range that fits"
)]
fn seconds(minutes: f64) -> u32 {
    (minutes * 60.0).clamp(0.0, 1.0e6).round() as u32
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "clamped to a range that fits"
)]
fn permille(sigma: f64) -> u16 {
    (sigma * 1_000.0).clamp(0.0, 3_000.0).round() as u16
}
