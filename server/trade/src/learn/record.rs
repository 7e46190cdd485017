//! One piece of recorded work.

use crate::compose::rules::ONE_THIRD_TRIGGER;
use crate::estimate::TALLEST_MOWABLE;
use crate::fault::{Fault, within};
use crate::site::Condition;
use crate::task::{Method, TaskKind};
use crate::units::Minutes;

/// A site, by whatever number the caller knows it by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct SiteId(pub u128);

/// A crew, by whatever number the caller knows it by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct CrewId(pub u128);

/// How far growth has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Growth {
    /// At most 1.5 times the set height.
    Kept,
    /// Above that, but a mower can enter.
    Tall,
    /// Too tall to mow, or knocked down on this visit.
    Overgrown,
}

/// The class of condition that effects are learned for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Class {
    /// How far growth has come.
    pub growth: Growth,
    /// Wet or dry.
    pub wet: bool,
}

impl Class {
    /// The class a condition falls in.
    pub fn of(condition: &Condition) -> Self {
        let growth = if condition.laid || condition.turf_height > TALLEST_MOWABLE {
            Growth::Overgrown
        } else if condition.turf_height > condition.set_height * ONE_THIRD_TRIGGER {
            Growth::Tall
        } else {
            Growth::Kept
        };
        Self {
            growth,
            wet: condition.wet,
        }
    }
}

/// What a task took, beside what the published rate gave for the same crew size and tool. Both have the same in them: where
/// the time that was told has a wait for a shared tool, or rests in the heat, the rate's has them too.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Record {
    /// The kind of work.
    pub kind: TaskKind,
    /// How it was done.
    pub method: Method,
    /// Where.
    pub site: SiteId,
    /// By whom.
    pub crew: CrewId,
    /// In what condition.
    pub class: Class,
    /// What the rates alone gave for it, above 0, at most 100 000 min.
    pub rate: Minutes,
    /// What it took, above 0, at most 100 000 min.
    pub actual: Minutes,
}

impl Record {
    /// The logarithm of actual over rate.
    ///
    /// # Errors
    /// A time that is not a number of minutes within its bounds.
    pub(super) fn log_ratio(&self) -> Result<f64, Fault> {
        let rate = within("record.rate_minutes", self.rate.value(), 1e-3, 1e5)?;
        let actual = within("record.actual_minutes", self.actual.value(), 1e-3, 1e5)?;
        Ok((actual / rate).ln())
    }
}
