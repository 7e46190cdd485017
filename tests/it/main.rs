//! End-to-end tests: the real programs, real databases, the public contract.

#![allow(
    clippy::expect_used,
    clippy::panic,
    reason = "helpers of tests fail by panicking"
)]

mod layers;
mod plan_check;
mod start_and_stop;
