//! A whole job at once: its tasks, how long they take, what they wear out and what they cost.
//!
//! This is what a booking calls before anything is promised, and what a quote is explained with.

use crate::compose::{Misdescribed, Notice, Planned, Visit, compose};
use crate::equipment::Equipment;
use crate::estimate::{Crew, Estimate, Job, Work, Working, clippings, explain};
use crate::fault::Fault;
use crate::learn::Learned;
use crate::price::{JobCost, MachineUse, Money, PriceBook, Quote};
use crate::rates::Rates;
use crate::site::Condition;
use crate::task::{Measure, Method, TaskKind};
use crate::units::{Litres, Metres, Minutes};
use crate::wear::Severity;

/// Volume of one refuse bag (33 US gal). Common practice, no source.
pub const REFUSE_BAG: Litres = Litres::from_us_gallons(33.0);

/// Who does it and with what.
#[derive(Clone, Copy)]
pub struct Means<'a> {
    /// The crew.
    pub crew: Crew,
    /// The tool for a task.
    pub tool: &'a dyn Fn(&Planned) -> Equipment,
    /// How many tools aboard serve a method.
    pub aboard: &'a dyn Fn(Method) -> u8,
    /// What has been learned for a task.
    pub learned: &'a dyn Fn(&Planned) -> Learned,
    /// The rates.
    pub rates: &'a Rates,
    /// How hard each state wears machines.
    pub severity: &'a Severity,
}

/// One task with everything said of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Appraised {
    /// The task and its rule.
    pub planned: Planned,
    /// The tool it was estimated with.
    pub tool: Equipment,
    /// How long it takes.
    pub estimate: Estimate,
    /// The working, line by line.
    pub working: Working,
    /// How hard it wears its tool.
    pub severity: f64,
    /// Running time times severity.
    pub effective: Minutes,
}

/// A job with everything said of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Appraisal {
    /// The tasks in order of work.
    pub tasks: Vec<Appraised>,
    /// What else a person must know.
    pub notices: Vec<Notice>,
    /// How long it takes in all.
    pub job: Job,
    /// Effective over running time of all powered tools: how hard the job is on machines.
    pub severity: f64,
    /// Bags of refuse to be taken away.
    pub bags: u32,
}

/// Composes, estimates and weighs a visit.
///
/// # Errors
/// Every fault of the description; or else every task that cannot be done with the means, by its
/// area.
pub fn appraise(visit: &Visit<'_>, means: &Means<'_>) -> Result<Appraisal, Vec<Misdescribed>> {
    let composition = compose(visit, means.rates)?;
    let mut faults = Vec::new();
    let mut tasks = Vec::with_capacity(composition.tasks.len());
    for planned in composition.tasks {
        let tool = (means.tool)(&planned);
        let learned = (means.learned)(&planned);
        match explain(&planned.work, &tool, means.crew, means.rates, &learned) {
            Ok((estimate, working)) => {
                let severity = means.severity.of(&planned.work);
                let effective = estimate.running * severity;
                tasks.push(Appraised {
                    planned,
                    tool,
                    estimate,
                    working,
                    severity,
                    effective,
                });
            }
            Err(fault) => faults.push(Misdescribed {
                area: planned.area,
                fault,
            }),
        }
    }
    if !faults.is_empty() {
        return Err(faults);
    }
    let parts: Vec<(Method, Estimate)> = tasks
        .iter()
        .map(|task| (task.planned.work.method, task.estimate))
        .collect();
    let job = Job::of(&parts, means.crew, means.aboard, means.rates);
    let effective: Minutes = tasks.iter().map(|task| task.effective).sum();
    let severity = if job.running > Minutes::ZERO {
        effective / job.running
    } else {
        1.0
    };
    let works: Vec<Work> = tasks.iter().map(|task| task.planned.work).collect();
    let bags = refuse_bags(&works, means.rates);
    Ok(Appraisal {
        tasks,
        notices: composition.notices,
        job,
        severity,
        bags,
    })
}

impl Appraisal {
    /// Prices the job: `per_effective_hour` says what an effective hour of a task's tool costs.
    ///
    /// # Errors
    /// What [`PriceBook::quote`] finds.
    pub fn quote(
        &self,
        book: &PriceBook,
        per_effective_hour: impl Fn(&Appraised) -> Money,
    ) -> Result<Quote, Fault> {
        let machines: Vec<MachineUse> = self
            .tasks
            .iter()
            .filter(|task| task.effective > Minutes::ZERO)
            .map(|task| MachineUse {
                effective: task.effective,
                per_effective_hour: per_effective_hour(task),
            })
            .collect();
        book.quote(&JobCost {
            labour: self.job.labour,
            machines: &machines,
            bags: self.bags,
        })
    }
}

/// Refuse bags: clippings of collecting mowers, and what was felled where it is collected.
pub fn refuse_bags(works: &[Work], rates: &Rates) -> u32 {
    let works = || works.iter();
    let collects = works().any(|work| work.kind == TaskKind::Collect);
    let mown_collecting = works().any(|work| work.method == Method::CollectingMower);
    let volume: Litres = works()
        .filter_map(|work| {
            let Measure::Area(area) = work.measure else {
                return None;
            };
            let taken = match work.kind {
                TaskKind::Mow => work.method == Method::CollectingMower,
                TaskKind::CutBrush => collects,
                TaskKind::KnockDown => collects && mown_collecting,
                _ => false,
            };
            // What a head fells is cut at the ground; a mower leaves its set height.
            let felled = work.kind != TaskKind::Mow;
            let set_height = if felled {
                Metres::ZERO
            } else {
                work.condition.set_height
            };
            let condition = Condition {
                set_height,
                ..work.condition
            };
            taken.then(|| clippings(area, &condition, rates))
        })
        .sum();
    whole(volume / REFUSE_BAG)
}

/// A count from a number that is known not to be negative; held at a million.
fn whole(count: f64) -> u32 {
    const MOST: f64 = 1.0e6;
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "held between 0 and a million"
    )]
    let whole = count.ceil().clamp(0.0, MOST) as u32;
    whole
}
