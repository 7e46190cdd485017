//! The rules of the problem, one file each. The search composes them; the checker has its own code for all of them.

pub(crate) mod capability;
pub(crate) mod day_end;
pub(crate) mod disturbance;
pub(crate) mod lateness;
pub(crate) mod promise;
pub(crate) mod quiet;
pub(crate) mod rest;
pub(crate) mod sharing;
pub(crate) mod skill;
pub(crate) mod time_window;

/// Why a stop cannot stand where it was tried.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Refusal {
    /// No window of the job is left.
    Window,
    /// The customer was promised an earlier start.
    Promise,
    /// A break would begin too late.
    Break,
    /// A unit must be back earlier.
    UnitDue,
    /// The crew would be back too late.
    ShiftEnd,
}
