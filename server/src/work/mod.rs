//! Use cases: one file each, named by its verb.
//!
//! A use case takes domain values, runs in one transaction and answers with domain values. It knows
//! no gRPC, no clock and no configuration: who asks and when is in the [`Command`]'s context.

pub mod archive;
pub mod bench;
pub mod branch;
pub mod case;
mod clock;
mod command;
pub mod crew;
pub mod day;
pub(crate) mod digest;
mod error;
mod forget_answers;
pub mod import;
pub mod job;
pub mod photo;
pub mod plan;
mod put;
mod referrers;
mod row;
mod seen;
pub mod sign_in;
pub mod site;
mod steady;
pub mod tag_out;
pub(crate) mod text;
pub mod transfer;
pub mod unit;
pub mod visit;
pub mod worker;

pub use clock::{Clock, SystemClock};
pub use command::{
    Accepted, Attempt, Call, Change, Command, Edit, Outcome, Retry, kept_answer, run_command,
};
pub use error::{Error, Obstacle, ObstacleKind, Reason, Violation, refuse_violations};
pub use forget_answers::{ForgetAnswers, forget_answers};
pub use put::{Kinds, Put, put};
pub use seen::{Seen, refuse_stale};
