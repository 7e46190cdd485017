//! The desk, tested from outside: a small hand-made branch in, a planning problem, rows and words out.

mod changes;
mod fixture;
mod problem;
mod sheets;
mod tasks;
