//! Jobs and their tasks.

use super::Window;
use crate::Seconds;
use crate::index::{CapabilityIx, CrewIx, JobIx, PlaceIx, SkillIx};
use crate::problem::Tool;

/// Work wanted at a place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Job {
    /// Where.
    pub place: PlaceIx,
    /// When, in order and apart from each other. Several days give several windows.
    pub windows: Vec<Window>,
    /// What must lie in a window.
    pub bound: Bound,
    /// Cost of leaving it out, minor units: by priority, revenue and deadline. A job is left out when doing it would
    /// cost more.
    pub penalty: i64,
    /// When it should be finished.
    pub due: Option<Due>,
    /// Skills the crew must have.
    pub skills: Vec<SkillIx>,
    /// Fewest people.
    pub crew_size_min: u8,
    /// Crews that may do it; `None` for any.
    pub crews: Option<Vec<CrewIx>>,
    /// A customer who will be met.
    pub promise: Option<Promise>,
    /// Times in which no noisy work may go on at the place, in order and apart from each other.
    pub quiet: Vec<Window>,
    /// Seconds on site beside the tasks: unloading, looking for obstacles, walkthrough, loading.
    pub fixed_seconds: u32,
    /// What is to be done, in this order.
    pub tasks: Vec<Task>,
    /// Where it stood in the plan before, for the cost of disturbance.
    pub previous: Option<Previous>,
}

/// What of a stop must lie in a window.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Bound {
    /// The start of work only.
    Start,
    /// The whole of the work.
    Whole,
}

/// When a job should be finished. A deadline that must not pass is the end of its last window instead.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Due {
    /// The instant.
    pub at: Seconds,
    /// Cost of each hour after it, minor units.
    pub cost_per_hour: i64,
}

/// What of a stop a promise is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Meeting {
    /// The customer is met before the work: its start.
    Start,
    /// The customer is met after the work: its finish.
    Finish,
}

/// A customer is told to expect the crew between two instants. The crew waits where it would be too early.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Promise {
    /// Whether the customer is met before or after the work.
    pub at: Meeting,
    /// From when the customer is there.
    pub open: Seconds,
    /// Until when the customer must have been met.
    pub close: Seconds,
    /// Whether the promise must be kept; otherwise breaking it has the cost of
    /// [`Weights::promise_broken`](super::Weights::promise_broken).
    pub hard: bool,
}

impl Promise {
    /// When a stop with these times meets the customer.
    #[must_use]
    pub fn met_at(&self, start: Seconds, finish: Seconds) -> Seconds {
        match self.at {
            Meeting::Start => start,
            Meeting::Finish => finish,
        }
    }

    /// Whether a stop with these times is no later than promised.
    #[must_use]
    pub fn kept(&self, start: Seconds, finish: Seconds) -> bool {
        self.met_at(start, finish) <= self.close
    }
}

/// A job's place in the plan before.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Previous {
    /// The crew.
    pub crew: CrewIx,
    /// Planned start of work.
    pub start: Seconds,
    /// Planned end of work.
    pub finish: Seconds,
}

/// One kind of work on one area.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Task {
    /// Ways to do it. The crew takes the quickest way that its load-out allows.
    pub methods: Vec<Method>,
}

/// One way to do a task.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Method {
    /// What the tool must be capable of; `None` for work without a tool.
    pub capability: Option<CapabilityIx>,
    /// Narrowest gate on the way, millimetres; `None` if there is none.
    pub gate_mm: Option<u32>,
    /// Steepest slope of the area, permille.
    pub slope_permille: u32,
}

/// What the caller is asked: how long does a method take with a tool and so many people?
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ServiceQuery {
    /// The job.
    pub job: JobIx,
    /// Position of the task in the job.
    pub task: usize,
    /// Position of the method in the task.
    pub method: usize,
    /// The tool.
    pub tool: Tool,
    /// People.
    pub crew_size: u8,
}

/// The answer to a [`ServiceQuery`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ServiceTime {
    /// Median length.
    pub seconds: u32,
    /// Spread: standard deviation of the logarithm, in thousandths. 250 means that about two times in three the
    /// actual length is within a factor of 1.28 of the median.
    pub log_deviation_permille: u16,
    /// Exposure points it adds to the crew's day.
    pub exposure: u32,
}
