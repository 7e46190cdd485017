//! `CrewService`: crews, and the workers in them.

mod convert;
mod crews;
mod service;
mod worker_convert;
mod workers;

pub(crate) use convert::from_wire;
pub(super) use service::CrewApi;
pub(crate) use worker_convert::from_wire as worker_from_wire;
