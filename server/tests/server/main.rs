//! The server as its callers meet it: over a socket, on a real database.

#![expect(
    clippy::expect_used,
    reason = "a test that cannot go on stops with the reason"
)]

mod branches;
#[path = "../../store/tests/store/cluster.rs"]
mod cluster;
mod house;
mod program;
mod protocol;
mod tagged_units;
mod yard;
