//! What the planner returns: a plain plan that knows nothing of the search.

use crate::Seconds;
use crate::cost::Breakdown;
use crate::index::{CrewIx, JobIx, PlaceIx, UnitIx};

/// A plan for all crews of a problem.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Plan {
    /// One entry for each crew day, in the problem's order.
    pub crews: Vec<CrewPlan>,
    /// Jobs in no crew's day, in the problem's order.
    pub unplanned: Vec<JobIx>,
    /// The objective, term by term.
    pub cost: Breakdown,
}

/// One crew's day.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct CrewPlan {
    /// Units loaded at the start, or aboard when the crew is under way, in the problem's order.
    pub load_out: Vec<UnitIx>,
    /// Stops in order. Done and running ones come first, with their actual times.
    pub stops: Vec<Stop>,
    /// Breaks that fall into the part still to come.
    pub breaks: Vec<BreakTaken>,
    /// When the crew is back, or when its frozen part ends if it has nothing else to do and stands at its end place.
    pub back_at: Seconds,
    /// Totals of the part still to come.
    pub totals: Totals,
}

/// Sums over the part of a crew's day still to come.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Totals {
    /// Driving.
    pub drive_seconds: Seconds,
    /// Distance.
    pub drive_metres: i64,
    /// Working.
    pub work_seconds: Seconds,
    /// Waiting.
    pub wait_seconds: Seconds,
    /// On break.
    pub break_seconds: Seconds,
    /// After the end of the shift.
    pub overtime_seconds: Seconds,
    /// Exposure points.
    pub exposure: i64,
}

/// One stop.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stop {
    /// What it is for.
    pub visit: Visit,
    /// Where.
    pub place: PlaceIx,
    /// Drive from the stop before, seconds.
    pub drive_seconds: Seconds,
    /// Arrival.
    pub arrival: Seconds,
    /// Start of work.
    pub start: Seconds,
    /// End of work.
    pub finish: Seconds,
    /// Waiting between arrival and start, breaks not counted.
    pub wait_seconds: Seconds,
    /// How much later than `start` the work could begin without breaking a hard limit or a promise at this or a later
    /// stop of the crew, or causing more lateness or overtime. Zero for frozen stops.
    pub slack_seconds: Seconds,
    /// Done or running.
    pub frozen: bool,
}

impl Stop {
    /// The job, if the stop is for one.
    pub fn job(&self) -> Option<JobIx> {
        match &self.visit {
            Visit::Job { job, .. } => Some(*job),
            Visit::Yard { .. } | Visit::Meet { .. } => None,
        }
    }
}

/// What a stop is for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Visit {
    /// Work at a job.
    Job {
        /// The job.
        job: JobIx,
        /// How each task is done, in order. Empty for frozen stops.
        tasks: Vec<TaskPlan>,
    },
    /// A call at a yard to change units.
    Yard {
        /// Units put down.
        unload: Vec<UnitIx>,
        /// Units taken.
        load: Vec<UnitIx>,
    },
    /// A meeting with another crew to hand units over.
    Meet {
        /// The other crew.
        with: CrewIx,
        /// Units given away.
        give: Vec<UnitIx>,
        /// Units taken over.
        take: Vec<UnitIx>,
    },
}

/// How one task is done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TaskPlan {
    /// Position of the method in the task.
    pub method: usize,
    /// The unit that gives the capability; `None` for work by hand.
    pub unit: Option<UnitIx>,
    /// The powerhead it is mounted on, if it is an attachment.
    pub powerhead: Option<UnitIx>,
    /// Median length.
    pub seconds: Seconds,
    /// What the stop waits for its tool beside: two people cannot hold one. The first task with the tool has it.
    pub wait_seconds: Seconds,
}

/// A break in the plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BreakTaken {
    /// Begin.
    pub start: Seconds,
    /// End.
    pub finish: Seconds,
}

impl Plan {
    /// The crew and the position of a job's stop, if it is planned.
    pub fn find(&self, job: JobIx) -> Option<(CrewIx, usize)> {
        self.crews.iter().enumerate().find_map(|(crew, plan)| {
            let at = plan.stops.iter().position(|stop| stop.job() == Some(job))?;
            Some((CrewIx::from_ix(crew), at))
        })
    }
}
