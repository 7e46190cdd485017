//! How long each task takes with each tool and crew, by the trade library.

use std::collections::BTreeMap;

use forenoon_planner::problem::{ServiceQuery, ServiceTime, Tool};
use forenoon_store::entity::{job, unit};
use forenoon_store::value::Task;
use forenoon_trade::equipment::Equipment;
use forenoon_trade::estimate::{Crew, Estimate, LARGEST_CREW, estimate};
use forenoon_trade::rates::Rates;
use forenoon_trade::task::Method;
use forenoon_trade::units::Minutes;

use crate::fleet::Fleet;
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

    /// The answer to one question; none where the tool does not suit. Of a job that was broken off the rest counts, and
    /// one that takes longer does so in its first task.
    pub(crate) fn answer(&self, query: ServiceQuery, job_ids: &[String]) -> Option<ServiceTime> {
        let whole = self.whole(query, job_ids)?;
        let (job, _) = self.jobs.get(job_ids.get(query.job.ix())?.as_str())?;
        let task = job.tasks.0.get(query.task)?;
        let rest = u64::from(whole.seconds) * self.left_permille(job, task) / 1_000;
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
        Some(ServiceTime {
            seconds: u32::try_from(rest + more).unwrap_or(u32::MAX),
            ..whole
        })
    }

    fn left_permille(&self, job: &job::Model, task: &Task) -> u64 {
        self.inputs
            .left_of(&job.id, &task.task_id)
            .clamp(0, 1_000)
            .unsigned_abs()
    }

    /// The answer for a whole task.
    fn whole(&self, query: ServiceQuery, job_ids: &[String]) -> Option<ServiceTime> {
        let (job, _) = self.jobs.get(job_ids.get(query.job.ix())?.as_str())?;
        let task = job.tasks.0.get(query.task)?;
        if let Some(agreed) = task.agreed_minutes
            && !self.is_forbidden(query.tool, task)
        {
            return Some(ServiceTime {
                seconds: seconds(agreed),
                log_deviation_permille: permille(AGREED_LOG_DEVIATION),
                exposure: 0,
            });
        }
        if self.is_forbidden(query.tool, task) {
            return None;
        }
        let crew = Crew {
            size: query.crew_size.clamp(1, LARGEST_CREW),
        };
        let estimate = match self.tool(query.tool) {
            None => self.minutes(&job.id, task, Method::OnFoot, &Equipment::ON_FOOT, crew),
            Some(unit) => {
                let way = task
                    .capabilities
                    .get(query.method)
                    .copied()
                    .and_then(method)?;
                self.minutes(&job.id, task, way, &equipment(unit, way), crew)
            }
        }?;
        Some(ServiceTime {
            seconds: seconds(estimate.median.value()),
            log_deviation_permille: permille(estimate.spread.sigma()),
            exposure: 0,
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

    /// The unit that gives the capability: the attachment of a pair.
    fn tool(&self, tool: Tool) -> Option<&unit::Model> {
        let class = match tool {
            Tool::Hand => return None,
            Tool::Whole(class)
            | Tool::Pair {
                attachment: class, ..
            } => class,
        };
        self.fleet.samples.get(class.ix())
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
        use forenoon_store::value::TaskKind;
        job.promise.as_ref().is_some_and(|promise| {
            let walk = if promise.before_work {
                TaskKind::WalkBefore
            } else {
                TaskKind::WalkAfter
            };
            task.kind == walk && self.inputs.clock.seconds(promise.end_time) >= 0
        })
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
