//! What a job would take and cost, with its working: before it is booked, or to explain a stored one.
//!
//! Reading order: [`Question`] (what is asked, from what records), [`Answer`] (times, price, working), then
//! how tools are chosen, how the price is made, and the words.

mod price;
mod tools;
mod words;

use std::collections::{BTreeMap, BTreeSet};

use forenoon_store::entity::{branch, job, site, unit};
use forenoon_store::value::{Exposure, Task, TaskKind, UnitSystem};
use forenoon_trade::estimate::{
    Crew, Estimate, Job as WholeJob, LARGEST_CREW, Tooled, Working, estimate, explain,
};
use forenoon_trade::learn::Learned;
use forenoon_trade::price::Currency;
use forenoon_trade::rates::Rates;
use forenoon_trade::task::Method;
use forenoon_trade::units::Minutes;

use crate::compose::{composed, rules_not_kept};
use crate::exposure::{Use, exposure};
use crate::lessons::Lessons;
use crate::service::{AGREED_LOG_DEVIATION, MEETING, agreed, promise_at};
use crate::trade_map::JobWork;
use tools::{Tool, Toolbox};

pub use price::PriceLine;

/// The share of visits that keep within the second time told.
const NINTH_DECILE: f64 = 0.9;
/// Waiting for a tool that is told: less is in the noise.
const WAITING_TOLD_FROM: Minutes = Minutes::new(1.0);

/// What is asked, and the records it is answered from.
#[derive(Clone, Copy)]
pub struct Question<'a> {
    /// The branch: its rates and its units of measure.
    pub branch: &'a branch::Model,
    /// Its currency.
    pub currency: Currency,
    /// The job, with its tasks.
    pub job: &'a job::Model,
    /// Its site.
    pub site: &'a site::Model,
    /// The crew, where one is chosen.
    pub crew: Option<&'a str>,
    /// How many work on site.
    pub crew_size: u8,
    /// Units that are to be used where they serve.
    pub chosen: &'a [&'a unit::Model],
    /// Units of the branch that may go out, in order of id.
    pub fleet: &'a [&'a unit::Model],
    /// What units must not do, by tags with which they go out.
    pub forbidden: &'a BTreeMap<String, Vec<TaskKind>>,
    /// What has been learned from finished visits.
    pub lessons: &'a Lessons,
}

/// What a job would take and cost.
#[derive(Clone, Debug, PartialEq)]
pub struct Answer {
    /// The tasks in their order.
    pub tasks: Vec<TaskAnswer>,
    /// Median of the time on site.
    pub median_minutes: f64,
    /// Time on site that is kept in nine of ten visits.
    pub ninth_decile_minutes: f64,
    /// Workers assumed.
    pub crew_size: u8,
    /// The parts of the price, which add up to it; empty where the branch has no rate for labour.
    pub price_lines: Vec<PriceLine>,
    /// The price, minor units; none where the branch has no rate for labour and none was agreed.
    pub price_minor: Option<i64>,
    /// What an hour of one worker on site earns at that price, minor units.
    pub earned_per_worker_hour_minor: Option<i64>,
    /// What a planner should know.
    pub notices: Vec<String>,
    /// Usual cautions.
    pub cautions: Vec<String>,
    /// What a plan sets aside: the tasks' medians, and the wait for the scarcest tool.
    pub planned_minutes: f64,
    /// The wait among them.
    pub waiting_minutes: f64,
    /// What each worker is exposed to; none where it is beyond a day.
    pub exposure: Option<Exposure>,
}

/// One task's time with its working.
#[derive(Clone, Debug, PartialEq)]
pub struct TaskAnswer {
    /// The task.
    pub task: Task,
    /// Ids of the units assumed: an attachment comes before its powerhead.
    pub unit_ids: Vec<String>,
    /// Median, minutes.
    pub median_minutes: f64,
    /// Standard deviation of the natural logarithm of the minutes.
    pub log_deviation: f64,
    /// The working, line by line.
    pub factors: Vec<Factor>,
    /// What recorded work says, in words; empty where nothing is recorded.
    pub learned: String,
}

/// One line of working.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Factor {
    /// What it is.
    pub label: String,
    /// The figure, with its unit in words.
    pub value: String,
    /// Where it comes from.
    pub source: String,
}

/// Why there is no estimate.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum CannotEstimate {
    /// A task, by its place in the job, is beyond every tool.
    #[error("{what}")]
    Task {
        /// Its place.
        index: usize,
        /// Why.
        what: String,
    },
    /// A unit that was chosen for a task cannot do it.
    #[error("{what}")]
    Unit {
        /// The unit.
        id: String,
        /// Why.
        what: String,
    },
    /// The branch's price settings do not give a price.
    #[error("{0}")]
    Price(String),
}

/// One task, timed.
struct Timed<'a> {
    tool: Tool<'a>,
    estimate: Estimate,
    work: forenoon_trade::estimate::Work,
    answer: TaskAnswer,
}

/// Times and prices a job.
///
/// # Errors
/// Every task that cannot be done as asked; or settings of the price out of bounds.
pub fn answered(question: &Question<'_>) -> Result<Answer, Vec<CannotEstimate>> {
    let rates = Rates::default();
    let crew = Crew {
        size: question.crew_size.clamp(1, LARGEST_CREW),
    };
    let desk = Desk {
        question,
        work: JobWork::new(question.job, question.site, &rates),
        toolbox: Toolbox::new(question.chosen, question.fleet, question.forbidden),
        rates: &rates,
        crew,
    };
    let mut notices = composed(question.job, question.site)
        .map(|composed| composed.notices)
        .unwrap_or_default();
    notices.extend(rules_not_kept(question.job, question.site));
    let mut faults = Vec::new();
    let mut timed = Vec::new();
    for (index, task) in question.job.tasks.0.iter().enumerate() {
        match desk.timed(index, task, &mut notices) {
            Ok(one) => timed.push(one),
            Err(fault) => faults.push(fault),
        }
    }
    if !faults.is_empty() {
        return Err(faults);
    }
    let whole = WholeJob::with_tools(&tooled(&timed), crew, &rates);
    let lines: Minutes = timed.iter().map(|one| one.estimate.median).sum();
    let waiting = whole.planned - lines;
    if waiting >= WAITING_TOLD_FROM {
        notices.push(format!(
            "{:.0} min of the time is waiting for the scarcest tool; one more of it, or one worker less, costs less",
            waiting.value()
        ));
    }
    notices.extend(words::limited(question));
    notices.extend(words::unused(question, &timed));
    let priced = price::priced(question, &timed, &whole, &rates, &mut notices)
        .map_err(|fault| vec![CannotEstimate::Price(fault.to_string())])?;
    dedup(&mut notices);
    Ok(Answer {
        cautions: words::cautions(question, &timed),
        planned_minutes: whole.planned.value(),
        waiting_minutes: waiting.value().max(0.0),
        exposure: exposure(&question.branch.exposure, &uses(&timed), crew.size),
        tasks: timed.into_iter().map(|one| one.answer).collect(),
        median_minutes: whole.median.value(),
        ninth_decile_minutes: whole
            .spread
            .quantile(whole.median, NINTH_DECILE)
            .value()
            .max(whole.median.value()),
        crew_size: crew.size,
        price_lines: priced.lines,
        price_minor: priced.price_minor,
        earned_per_worker_hour_minor: priced.earned_per_worker_hour_minor,
        notices,
    })
}

/// The tasks with their tools by number: a usual tool, which has no units, is known by its method.
fn tooled(timed: &[Timed<'_>]) -> Vec<Tooled> {
    let mut known: Vec<String> = Vec::new();
    let mut number = |tool: String| {
        let place = known.iter().position(|one| *one == tool);
        let place = place.unwrap_or_else(|| {
            known.push(tool);
            known.len() - 1
        });
        u32::try_from(place).unwrap_or(u32::MAX)
    };
    timed
        .iter()
        .map(|one| {
            let mut tools = one.tool.units.iter().map(|unit| unit.id.clone());
            let first = match tools.next() {
                None if one.tool.method == Method::OnFoot => None,
                None => Some(format!("usual {}", one.tool.method)),
                unit => unit,
            };
            Tooled {
                estimate: one.estimate,
                tools: [first.map(&mut number), tools.next().map(&mut number)],
            }
        })
        .collect()
}

fn uses<'a>(timed: &[Timed<'a>]) -> Vec<Use<'a>> {
    timed
        .iter()
        .map(|one| Use {
            units: one.tool.units.clone(),
            kind: one.tool.equipment.kind,
            running: one.estimate.running,
        })
        .collect()
}

/// Keeps the first of equal notices.
fn dedup(notices: &mut Vec<String>) {
    let mut seen = BTreeSet::new();
    notices.retain(|notice| seen.insert(notice.clone()));
}

/// What a task is timed with.
struct Desk<'q, 'a> {
    question: &'q Question<'a>,
    work: JobWork<'q>,
    toolbox: Toolbox<'a>,
    rates: &'q Rates,
    crew: Crew,
}

impl<'a> Desk<'_, 'a> {
    fn timed(
        &self,
        index: usize,
        task: &Task,
        notices: &mut Vec<String>,
    ) -> Result<Timed<'a>, CannotEstimate> {
        let tool = self.tool(index, task, notices)?;
        let work = self.work.work(task, tool.method, self.meeting(task.kind));
        let learned = self.learned(tool.method, &work);
        let (estimate, log_deviation, factors) = if let Some(minutes) = task.agreed_minutes {
            let estimate = agreed(minutes, &tool.equipment, self.crew);
            (estimate, AGREED_LOG_DEVIATION, vec![words::agreed(minutes)])
        } else {
            let (estimate, working) =
                explain(&work, &tool.equipment, self.crew, self.rates, &learned)
                    .map_err(|fault| beyond(index, &fault.to_string()))?;
            let factors = self.factors(&working, &learned);
            (estimate, estimate.spread.sigma(), factors)
        };
        Ok(Timed {
            answer: TaskAnswer {
                task: task.clone(),
                unit_ids: tool.units.iter().map(|unit| unit.id.clone()).collect(),
                median_minutes: estimate.median.value(),
                log_deviation,
                factors,
                learned: if learned.parts().next().is_none() || task.agreed_minutes.is_some() {
                    String::new()
                } else {
                    // The rate is that of the work: the meeting is no part of it.
                    let of_work = estimate.median - work.meeting * learned.pace();
                    learned.words(of_work / learned.factor())
                },
            },
            tool,
            estimate,
            work,
        })
    }

    /// The tool that does the task soonest: of the chosen units where any serves, else of the branch's, else
    /// the usual one.
    fn tool(
        &self,
        index: usize,
        task: &Task,
        notices: &mut Vec<String>,
    ) -> Result<Tool<'a>, CannotEstimate> {
        if task.capabilities.is_empty() {
            return Ok(Tool::on_foot());
        }
        let chosen = self.toolbox.chosen(task);
        if task.agreed_minutes.is_some() {
            // What people agreed on holds whatever the tool, as it does in plans.
            let any = chosen
                .into_iter()
                .chain(self.toolbox.of_branch(task))
                .chain(Toolbox::usual(task))
                .next();
            return any.ok_or_else(|| beyond(index, "nothing serves"));
        }
        if !chosen.is_empty() {
            return self.soonest(task, &chosen).map_err(|what| {
                let first = chosen.first().and_then(|tool| tool.units.first());
                CannotEstimate::Unit {
                    id: first.map_or_else(String::new, |unit| unit.id.clone()),
                    what,
                }
            });
        }
        let kind = crate::trade_map::task_kind(task.kind);
        let of_branch = self.toolbox.of_branch(task);
        if let Ok(tool) = self.soonest(task, &of_branch) {
            if !self.question.chosen.is_empty() {
                let unit = tool
                    .units
                    .first()
                    .map_or("", |unit| unit.display_name.as_str());
                notices.push(format!(
                    "no unit named does the work \"{kind}\"; taken with {unit}"
                ));
            }
            return Ok(tool);
        }
        let usual = self
            .soonest(task, &Toolbox::usual(task))
            .map_err(|what| beyond(index, &what))?;
        notices.push(format!(
            "no unit of the branch is fit for the work \"{kind}\" here; taken with a usual {}",
            usual.method
        ));
        Ok(usual)
    }

    fn soonest(&self, task: &Task, tools: &[Tool<'a>]) -> Result<Tool<'a>, String> {
        let mut best: Option<(Minutes, &Tool<'a>)> = None;
        let mut first_fault = None;
        for tool in tools {
            let work = self.work.work(task, tool.method, self.meeting(task.kind));
            let learned = self.learned(tool.method, &work);
            let fits = self.work.fits(task, &tool.equipment);
            let timed = || estimate(&work, &tool.equipment, self.crew, self.rates, &learned);
            match fits.and_then(|()| timed()) {
                Ok(found) => {
                    if best.is_none_or(|(median, _)| found.median < median) {
                        best = Some((found.median, tool));
                    }
                }
                Err(fault) => {
                    first_fault.get_or_insert(fault);
                }
            }
        }
        best.map(|(_, tool)| tool.clone()).ok_or_else(|| {
            first_fault.map_or_else(|| "nothing serves".to_owned(), |fault| fault.to_string())
        })
    }

    fn learned(&self, method: Method, work: &forenoon_trade::estimate::Work) -> Learned {
        self.question.lessons.learned(
            (work.kind, method),
            &self.question.site.id,
            self.question.crew,
            &work.condition,
        )
    }

    fn factors(&self, working: &Working, learned: &Learned) -> Vec<Factor> {
        let system: UnitSystem = self.question.branch.unit_system;
        words::factors(working, learned, system)
    }

    /// The customer walks along where a meeting was promised.
    fn meeting(&self, kind: TaskKind) -> Minutes {
        promise_at(self.question.job, kind).map_or(Minutes::ZERO, |_| MEETING)
    }
}

fn beyond(index: usize, what: &str) -> CannotEstimate {
    CannotEstimate::Task {
        index,
        what: what.to_owned(),
    }
}
