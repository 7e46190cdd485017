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

mod archive;
mod backup;
mod bad_input;
mod bench;
mod consistency;
mod crash;
mod deployment;
mod failover;
mod invariants;
mod layers;
mod morning;
mod motion;
mod pages;
mod plan_check;
mod query_plans;
mod replicas;
mod roads;
mod sign_in;
mod standard_methods;
mod start_and_stop;
mod storage;
mod transfer;
mod upgrade;
