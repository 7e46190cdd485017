//! The store on real databases: an SQLite file and a throwaway PostgreSQL cluster.

#![expect(
    clippy::expect_used,
    reason = "a test that cannot go on stops with the reason"
)]

mod bench;
mod cluster;
mod filling;
mod full;
mod guards;
mod joined;
mod opening;
mod relaying;
mod serializable;
mod tables;
mod writing;
