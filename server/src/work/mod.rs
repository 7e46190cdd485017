//! Use cases: one file each, named by its verb.
//!
//! A use case takes domain values, runs in one transaction and answers with domain values. It knows
//! no gRPC, no clock and no configuration: who asks and when is in the [`Command`]'s context.

pub mod bench;
pub mod branch;
mod clock;
mod command;
mod error;
mod forget_answers;
pub mod plan;
mod seen;
pub mod tag_out;
pub mod visit;

pub use clock::{Clock, SystemClock};
pub use command::{Accepted, Call, Change, Command, Edit, Outcome, Retry, run_command};
pub use error::{Error, Obstacle, ObstacleKind, Reason, Violation};
pub use forget_answers::{ForgetAnswers, forget_answers};
pub use seen::{Seen, refuse_stale};
