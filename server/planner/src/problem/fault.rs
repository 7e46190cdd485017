//! Why a problem was refused.

use std::fmt;

use super::limits::FAULTS_MAX;
use crate::index::{ClassIx, CrewIx, JobIx, PlaceIx, UnitIx};

/// The item a fault is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Item {
    /// A crew's day.
    Crew(CrewIx),
    /// A class of units.
    Class(ClassIx),
    /// A unit.
    Unit(UnitIx),
    /// A job.
    Job(JobIx),
    /// A task of a job.
    Task {
        /// The job.
        job: JobIx,
        /// Position of the task in the job.
        task: usize,
    },
    /// A method of a task.
    Method {
        /// The job.
        job: JobIx,
        /// Position of the task in the job.
        task: usize,
        /// Position of the method in the task.
        method: usize,
    },
    /// The weights.
    Weights,
    /// The problem as a whole.
    Problem,
}

impl fmt::Display for Item {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Crew(crew) => write!(f, "crew {}", crew.0),
            Self::Class(class) => write!(f, "class {}", class.0),
            Self::Unit(unit) => write!(f, "unit {}", unit.0),
            Self::Job(job) => write!(f, "job {}", job.0),
            Self::Task { job, task } => write!(f, "job {}, task {task}", job.0),
            Self::Method { job, task, method } => {
                write!(f, "job {}, task {task}, method {method}", job.0)
            }
            Self::Weights => write!(f, "the weights"),
            Self::Problem => write!(f, "the problem"),
        }
    }
}

/// What is wrong with an item.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum Fault {
    /// A list that must have something is empty.
    #[error("{item}: there are no {what}")]
    Empty {
        /// The item.
        item: Item,
        /// What is missing.
        what: &'static str,
    },
    /// More than the limit.
    #[error("{item}: {count} {what}, at most {max} are allowed")]
    TooMany {
        /// The item.
        item: Item,
        /// What there is too much of.
        what: &'static str,
        /// How many.
        count: usize,
        /// How many are allowed.
        max: usize,
    },
    /// A number out of its range.
    #[error("{item}: {field} is {value}, allowed is {min} to {max}")]
    OutOfRange {
        /// The item.
        item: Item,
        /// The field.
        field: &'static str,
        /// Value found.
        value: i64,
        /// Least value allowed.
        min: i64,
        /// Largest value allowed.
        max: i64,
    },
    /// A window ends before it begins.
    #[error("{item}: {field} ends at {close}, before it begins at {open}")]
    EndsBeforeStart {
        /// The item.
        item: Item,
        /// The field.
        field: &'static str,
        /// Begin.
        open: i64,
        /// End.
        close: i64,
    },
    /// Two windows overlap or are out of order.
    #[error("{item}: {field} must be in order and apart, the one from {open} is not")]
    NotInOrder {
        /// The item.
        item: Item,
        /// The field.
        field: &'static str,
        /// Begin of the later one in the list.
        open: i64,
    },
    /// A promise that no window of the job allows.
    #[error("{item}: the promise from {open} to {close} lies in none of the job's windows")]
    PromiseOutsideWindows {
        /// The job.
        item: Item,
        /// Begin of the promise.
        open: i64,
        /// End of the promise.
        close: i64,
    },
    /// A reference to something that does not exist.
    #[error("{item}: {field} names number {value}, there are only {count}")]
    Unknown {
        /// The item.
        item: Item,
        /// The field.
        field: &'static str,
        /// The number.
        value: usize,
        /// How many there are.
        count: usize,
    },
    /// The same thing twice in one list.
    #[error("{item}: {field} names number {value} twice")]
    Twice {
        /// The item.
        item: Item,
        /// The field.
        field: &'static str,
        /// The number.
        value: usize,
    },
    /// A unit aboard two crews on one day, or on two days that overlap.
    #[error("unit {} is aboard crew {} and crew {} at the same time", unit.0, first.0, second.0)]
    UnitInTwoPlaces {
        /// The unit.
        unit: UnitIx,
        /// One crew.
        first: CrewIx,
        /// The other crew.
        second: CrewIx,
    },
    /// A unit is stated aboard at a time when it is not available.
    #[error("unit {} is aboard crew {} at {at}, when it is not available", unit.0, crew.0)]
    UnitNotAvailable {
        /// The unit.
        unit: UnitIx,
        /// The crew.
        crew: CrewIx,
        /// The instant.
        at: i64,
    },
    /// A job is frozen with two crews or twice with one.
    #[error("job {} is frozen with crew {} and with crew {}", job.0, first.0, second.0)]
    JobFrozenTwice {
        /// The job.
        job: JobIx,
        /// One crew.
        first: CrewIx,
        /// The other crew, or the same.
        second: CrewIx,
    },
    /// Frozen stops overlap, run backwards, or end after the crew is said to be ready.
    #[error("crew {}: the frozen stop at job {} does not follow in time", crew.0, job.0)]
    FrozenOutOfOrder {
        /// The crew.
        crew: CrewIx,
        /// The job.
        job: JobIx,
    },
    /// What is aboard does not fit on the vehicle.
    #[error("crew {}: the units aboard need {needed} of load space {available}", crew.0)]
    AboardTooLarge {
        /// The crew.
        crew: CrewIx,
        /// Space needed.
        needed: u64,
        /// Space there is.
        available: u32,
    },
    /// The service-time table has no answer where it must have one, or one out of range.
    #[error("{item}: service time with {crew_size} people is {seconds} s, allowed is 0 to {max}")]
    ServiceOutOfRange {
        /// The method.
        item: Item,
        /// People.
        crew_size: u8,
        /// Seconds found.
        seconds: u32,
        /// Largest allowed.
        max: u32,
    },
    /// The costs together could overflow.
    #[error("{item}: adds most to costs that together are too large to be added safely")]
    CostTooLarge {
        /// The item that adds most to them.
        item: Item,
    },
    /// A place in the travel table that is not there.
    #[error("{item}: {field} is place {}, there are only {count}", place.0)]
    UnknownPlace {
        /// The item.
        item: Item,
        /// The field.
        field: &'static str,
        /// The place.
        place: PlaceIx,
        /// Places in the table.
        count: usize,
    },
}

impl Fault {
    /// The item that it is about; the first where there are two.
    pub const fn item(&self) -> Item {
        match self {
            Self::Empty { item, .. }
            | Self::TooMany { item, .. }
            | Self::OutOfRange { item, .. }
            | Self::EndsBeforeStart { item, .. }
            | Self::NotInOrder { item, .. }
            | Self::PromiseOutsideWindows { item, .. }
            | Self::Unknown { item, .. }
            | Self::Twice { item, .. }
            | Self::ServiceOutOfRange { item, .. }
            | Self::UnknownPlace { item, .. }
            | Self::CostTooLarge { item } => *item,
            Self::UnitInTwoPlaces { unit, .. } | Self::UnitNotAvailable { unit, .. } => {
                Item::Unit(*unit)
            }
            Self::JobFrozenTwice { job, .. } => Item::Job(*job),
            Self::FrozenOutOfOrder { crew, .. } | Self::AboardTooLarge { crew, .. } => {
                Item::Crew(*crew)
            }
        }
    }
}

/// All faults found, at most 1,000.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Faults(pub Vec<Fault>);

impl Faults {
    pub(super) const fn new() -> Self {
        Self(Vec::new())
    }

    pub(super) fn push(&mut self, fault: Fault) {
        if self.0.len() < FAULTS_MAX {
            self.0.push(fault);
        }
    }

    /// Notes a number outside `min..=max`.
    pub(super) fn range(
        &mut self,
        item: Item,
        field: &'static str,
        value: i64,
        min: i64,
        max: i64,
    ) {
        if !(min..=max).contains(&value) {
            self.push(Fault::OutOfRange {
                item,
                field,
                value,
                min,
                max,
            });
        }
    }

    /// Notes a list longer than `max`.
    pub(super) fn count(&mut self, item: Item, what: &'static str, count: usize, max: usize) {
        if count > max {
            self.push(Fault::TooMany {
                item,
                what,
                count,
                max,
            });
        }
    }

    /// Notes a reference beyond a list of `count`.
    pub(super) fn reference(
        &mut self,
        item: Item,
        field: &'static str,
        value: usize,
        count: usize,
    ) -> bool {
        if value >= count {
            self.push(Fault::Unknown {
                item,
                field,
                value,
                count,
            });
        }
        value < count
    }
}

impl fmt::Display for Faults {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (n, fault) in self.0.iter().enumerate() {
            if n > 0 {
                writeln!(f)?;
            }
            write!(f, "{fault}")?;
        }
        Ok(())
    }
}

impl std::error::Error for Faults {}
