//! The planning problem: what is wanted, with what, and what counts.
//!
//! [`Parts`] is plain data that anybody may fill. [`Problem::new`] verifies all of it, asks the caller's table for
//! service times, and returns either a problem that the rest of the crate can trust or every fault at once.

mod catalogue;
mod crew;
mod fault;
mod job;
pub mod limits;
mod tools;
mod unit;
mod validate;
mod weights;
mod window;

pub use crew::{Break, Crew, FrozenStop, Progress, UnderWay, YardCall};
pub use fault::{Fault, Faults, Item};
pub use job::{
    Bound, Due, Job, Meeting, Method, Previous, Promise, ServiceQuery, ServiceTime, Task,
};
pub(crate) use tools::Obstacle;
pub use tools::ToolChoice;
pub use unit::{Role, Tool, Unit, UnitClass};
pub use weights::Weights;
pub use window::Window;

use crate::index::{ClassIx, CrewIx, JobIx, UnitIx};
use crate::travel::Travel;
use tools::Tools;

/// Everything a problem is made of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Parts {
    /// Times and distances between places.
    pub travel: Travel,
    /// Crews, one entry for each day they work.
    pub crews: Vec<Crew>,
    /// Classes of units.
    pub classes: Vec<UnitClass>,
    /// Units.
    pub units: Vec<Unit>,
    /// Whether a unit may be with one crew after another on one day: put down by one at the unit's yard, on a call or at
    /// the end of its day, and taken there by the other, at the start of its day or on a call.
    pub share_units: bool,
    /// Whether two crews may be planned to meet for that on the road, where units are shared. A meeting takes both as long
    /// as the longer of their [`Crew::handing_over`], and is one of the calls that each may make. What there is of
    /// meetings in a plan to start from is kept in any case, and re-plans may propose one to begin at once.
    pub plan_meetings: bool,
    /// Jobs.
    pub jobs: Vec<Job>,
    /// Weights of the objective.
    pub weights: Weights,
}

/// A verified problem.
#[derive(Debug, Clone)]
pub struct Problem {
    parts: Parts,
    tools: Tools,
    frozen: Vec<bool>,
}

impl Problem {
    /// Verifies `parts` and asks `service` how long each method takes with each tool that is capable, passes the gate
    /// and stands the slope, for each crew size in use. `None` means that the tool does not suit the method.
    ///
    /// # Errors
    /// Every fault found, each naming its item.
    pub fn new(
        parts: Parts,
        service: &mut dyn FnMut(ServiceQuery) -> Option<ServiceTime>,
    ) -> Result<Self, Faults> {
        let mut faults = Faults::new();
        validate::parts(&parts, &mut faults);
        if !faults.0.is_empty() {
            return Err(faults);
        }
        let tools = Tools::new(&parts, service, &mut faults);
        validate::cost_bound(&parts, &tools, &mut faults);
        if !faults.0.is_empty() {
            return Err(faults);
        }
        let frozen = frozen_jobs(&parts);
        Ok(Self {
            parts,
            tools,
            frozen,
        })
    }

    /// The data as given.
    pub const fn parts(&self) -> &Parts {
        &self.parts
    }

    /// Times and distances.
    pub const fn travel(&self) -> &Travel {
        &self.parts.travel
    }

    /// All crew days.
    pub fn crews(&self) -> &[Crew] {
        &self.parts.crews
    }

    /// One crew day.
    pub fn crew(&self, crew: CrewIx) -> &Crew {
        &self.parts.crews[crew.ix()]
    }

    /// All jobs.
    pub fn jobs(&self) -> &[Job] {
        &self.parts.jobs
    }

    /// One job.
    pub fn job(&self, job: JobIx) -> &Job {
        &self.parts.jobs[job.ix()]
    }

    /// All units.
    pub fn units(&self) -> &[Unit] {
        &self.parts.units
    }

    /// Whether units may change crews in the course of a day.
    pub const fn shares_units(&self) -> bool {
        self.parts.share_units
    }

    /// Whether crews may be planned to meet on the road to hand units over.
    pub const fn plans_meetings(&self) -> bool {
        self.parts.share_units && self.parts.plan_meetings
    }

    /// One unit.
    pub fn unit(&self, unit: UnitIx) -> &Unit {
        &self.parts.units[unit.ix()]
    }

    /// A unit's class.
    pub fn class_of(&self, unit: UnitIx) -> &UnitClass {
        &self.parts.classes[self.unit(unit).class.ix()]
    }

    /// One class.
    pub fn class(&self, class: ClassIx) -> &UnitClass {
        &self.parts.classes[class.ix()]
    }

    /// The weights.
    pub const fn weights(&self) -> &Weights {
        &self.parts.weights
    }

    /// Whether the job is done or running.
    pub fn is_frozen(&self, job: JobIx) -> bool {
        self.frozen[job.ix()]
    }

    /// The ways to do one task with a crew of `size`, the quickest first. Empty for a size no crew has.
    pub fn tool_choices(&self, job: JobIx, task: usize, size: u8) -> &[ToolChoice] {
        self.tools.choices(job, task, size)
    }

    /// Capable tools that cannot be used for a task, and what stands in the way.
    pub(crate) fn obstacles(
        &self,
        job: JobIx,
        task: usize,
        size: u8,
    ) -> impl Iterator<Item = (Obstacle, &ToolChoice)> {
        self.tools.obstacles(job, task, size)
    }

    /// The same problem with some data changed. The change must leave it valid, and the jobs, their tasks, the classes
    /// and the crews' sizes as they are.
    pub(crate) fn changed(&self, change: impl FnOnce(&mut Parts)) -> Self {
        self.clone().with(change)
    }

    /// Like [`Problem::changed`], where nobody needs it as it was.
    pub(crate) fn with(mut self, change: impl FnOnce(&mut Parts)) -> Self {
        change(&mut self.parts);
        self
    }

    /// Like [`Problem::changed`], where crews may also have got further with their jobs.
    pub(crate) fn advanced(&self, change: impl FnOnce(&mut Parts)) -> Self {
        let mut changed = self.changed(change);
        changed.frozen = frozen_jobs(&changed.parts);
        changed
    }

    /// The same problem with other lengths of the tasks.
    pub(crate) fn with_lengths(&self, length: impl Fn(&ToolChoice) -> u32) -> Self {
        let mut changed = self.clone();
        changed.tools.set_lengths(length);
        changed
    }

    /// One crew's part of the problem with some of the jobs, which come in the order given; references to crews and
    /// jobs are renumbered. `unblock` lets tools count that a gate or a slope forbids.
    pub(crate) fn of_one_crew(
        &self,
        crew_ix: CrewIx,
        jobs: &[JobIx],
        unblock: impl Fn(JobIx, usize, Obstacle) -> bool,
    ) -> Self {
        let mut crew = self.crew(crew_ix).clone();
        crew.day = 0;
        if let Progress::UnderWay(way) = &mut crew.progress {
            way.frozen.clear();
        }
        let size = crew.size;
        let renumbered = |job: &JobIx| {
            let mut job = self.job(*job).clone();
            let listed = job
                .crews
                .as_ref()
                .is_none_or(|crews| crews.contains(&crew_ix));
            job.crews = if listed { None } else { Some(Vec::new()) };
            if let Some(previous) = &mut job.previous {
                // Only whether it was this crew counts.
                previous.crew = CrewIx(u32::from(previous.crew != crew_ix));
            }
            job
        };
        Self {
            tools: self.tools.excerpt(jobs, size, unblock),
            frozen: vec![false; jobs.len()],
            parts: Parts {
                travel: self.parts.travel.clone(),
                crews: vec![crew],
                classes: self.parts.classes.clone(),
                units: self.parts.units.clone(),
                share_units: false,
                plan_meetings: false,
                jobs: jobs.iter().map(renumbered).collect(),
                weights: self.parts.weights,
            },
        }
    }
}

/// Which jobs are done or running.
fn frozen_jobs(parts: &Parts) -> Vec<bool> {
    let mut frozen = vec![false; parts.jobs.len()];
    for crew in &parts.crews {
        if let Progress::UnderWay(under_way) = &crew.progress {
            for stop in &under_way.frozen {
                frozen[stop.job.ix()] = true;
            }
        }
    }
    frozen
}
