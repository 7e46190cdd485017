//! End-to-end tests: the real programs, real databases, the public contract.

#![allow(
    clippy::expect_used,
    clippy::panic,
    reason = "helpers of tests fail by panicking"
)]
#![allow(
    clippy::assigning_clones,
    reason = "speed is nothing here; an assignment reads better"
)]

mod bad_input;
mod layers;
mod plan_check;
mod start_and_stop;
