//! The desk, tested from outside: a small hand-made branch in, a planning problem, rows and words out.

#![expect(
    clippy::expect_used,
    clippy::unwrap_used,
    reason = "a test that fails here has found something"
)]

mod bench_queue;
mod breaks;
mod changes;
mod exposure;
mod fixture;
mod late_work;
mod lessons;
mod lessons_kept;
mod limits;
mod meetings;
mod paper_tag;
mod planning;
mod problem;
mod replan;
mod rests;
mod roads;
mod shared_units;
mod sheets;
mod split;
mod standing;
mod stock;
mod tasks;
mod told;
mod ways_on;
mod whereabouts;
mod whole_site;
mod yard_calls;
