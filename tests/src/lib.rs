//! What the end-to-end tests share: the real programs, throwaway databases, actors over the contract,
//! and builders of small branches.
//!
//! Everything here panics with what went wrong: a helper that fails is a test that fails.

#![allow(
    clippy::expect_used,
    clippy::panic,
    clippy::missing_panics_doc,
    clippy::missing_errors_doc,
    clippy::print_stderr,
    reason = "helpers of tests fail by panicking, and say what they know"
)]

pub mod actors;
pub mod busy_branch;
pub mod cli;
pub mod cluster;
pub mod contents;
pub mod database;
pub mod invariants;
pub mod make;
pub mod programs;
pub mod refusal;
pub mod server;
pub mod small_branch;
