//! Plans the day of crews with machines.
//!
//! A [`Problem`] says what is wanted: crews with shifts, skills and load space; units, some of them attachments that
//! work only on a matching powerhead; jobs with tasks, windows and promises; travel times. [`solve`](solve()) returns a
//! [`Plan`]: who does which job when, with which units aboard, and why the rest stays undone. [`check`](check()) verifies any
//! plan against its problem by code of its own.
//!
//! The crate is pure: it knows no clock, no file, no network, no database. Time comes in as whole seconds from an
//! origin of the caller's choice, chance comes in as a seed, the end of a search comes in as a [`Budget`]. The same
//! problem, seed and count of iterations give the same plan.
//!
//! A crew may call at its yards several times a day to change units, and where units are shared one crew may put a unit
//! down at its yard for another to take. When a unit changes hands is part of the plan ([`plan`]), so that each crew's day
//! stands by itself.
//!
//! # Reading order
//!
//! 1. [`problem`]: what goes in, and how it is verified.
//! 2. [`plan`]: what comes out.
//! 3. [`cost`]: the objective, term by term.
//! 4. [`mod@solve`]: the search.
//! 5. [`mod@check`]: the independent checker.
//!
//! Figures, with what fell short and what did not help: `BENCHMARKS.md` beside this crate.

mod apart;
pub mod check;
pub mod cost;
pub mod explain;
pub mod index;
pub mod plan;
pub mod problem;
pub mod replan;
pub mod risk;
pub mod routing;
mod rules;
mod search;
pub mod solve;
pub mod travel;
pub mod value;

// Tests of what is inside use the same generated days as those of the whole.
#[cfg(test)]
extern crate self as forenoon_planner;
#[cfg(test)]
#[path = "../tests/support/mod.rs"]
mod support;

pub use check::check;
pub use cost::Cost;
pub use explain::{explain, explain_until};
pub use index::{CapabilityIx, ClassIx, CouplingIx, CrewIx, JobIx, PlaceIx, SkillIx, UnitIx};
pub use plan::Plan;
pub use problem::Problem;
pub use routing::{Budget, Cancel, Iterations, Spent};
pub use search::compare::{Compared, compared};
pub use solve::{Heat, Progress, Settings, Solved, THREADS_MAX, solve, solve_on};

/// Whole seconds, either a length of time or an instant counted from the origin the caller chose (for one branch day,
/// the UTC instant of local midnight). The axis has no daylight-saving jumps.
pub type Seconds = i64;
