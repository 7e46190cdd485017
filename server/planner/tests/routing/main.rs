//! The routing engine against its rules, itself and brute force.

#![expect(
    clippy::panic,
    clippy::cast_possible_truncation,
    clippy::cast_possible_wrap,
    reason = "a test stops with its message; the numbers are small"
)]

mod cases;
mod engine;
mod rich;
