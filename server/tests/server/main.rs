//! The server as its callers meet it: over a socket, on a real database.

#![expect(
    clippy::expect_used,
    reason = "a test that cannot go on stops with the reason"
)]

mod actors;
mod archiving;
mod bench;
mod booking;
mod branches;
mod cases;
mod chances;
mod clock_jumps;
#[path = "../../store/tests/store/cluster.rs"]
mod cluster;
mod composing;
mod crews;
mod crews_refused;
mod deadlines;
mod deploying;
mod empty_day;
mod estimates;
mod evening_before;
mod house;
mod imports;
mod imports_refused;
mod informing;
mod jobs;
mod jobs_refused;
mod learning;
mod left_by_the_road;
mod loads;
mod meeting;
mod motion;
mod mowing_yard;
mod other_days;
mod overtaken;
mod photos;
mod plan_lists;
mod program;
mod protocol;
mod raising;
mod rows;
mod searches;
mod shared_units;
mod simulation;
mod sites;
mod sites_refused;
mod splitting;
mod stale;
mod tagged_carriers;
mod tagged_units;
mod taken_away;
mod transferring;
mod units;
mod units_refused;
mod upkeep;
mod visits;
mod watching;
mod watching_cut;
mod what_if;
mod where_crews_are;
mod workers;
mod yard;
