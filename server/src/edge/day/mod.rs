//! The day as it happens, at the edge.

mod convert;
mod server;
mod token;

pub(super) use convert::words;
pub(super) use server::DayServer;
