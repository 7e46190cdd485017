//! Generated problems for tests, benchmarks and examples. Everything comes from a seed.

#![allow(
    dead_code,
    unreachable_pub,
    missing_docs,
    reason = "each user takes the part it needs"
)]
#![allow(
    clippy::unwrap_used,
    clippy::panic,
    clippy::wildcard_imports,
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::too_many_lines,
    clippy::struct_excessive_bools,
    reason = "generators of bounded numbers"
)]

pub mod branch_day;
pub mod exact_cases;
pub mod random_problem;
