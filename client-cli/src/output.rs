//! Answers as text: for people, as tab-separated lines for scripts, as JSON for programs.
//!
//! Everything here is a pure function from messages of the contract to text, but for `screen`, which prints it.

pub mod bench;
mod call;
pub mod cases;
pub mod cells;
pub mod chances;
pub mod clock;
pub mod day;
pub mod estimate;
mod exposure;
pub mod faults;
#[cfg(test)]
mod fixture;
pub mod grid;
pub mod history;
pub mod json;
pub mod measure;
pub mod paint;
pub mod photos;
pub mod proposals;
pub mod records;
pub mod screen;
pub mod sheet;
mod strip;
pub mod text;
pub mod watch;
pub mod what_if;
