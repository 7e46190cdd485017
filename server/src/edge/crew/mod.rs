//! `CrewService`: crews, and the workers in them.

mod convert;
mod crews;
mod service;
mod worker_convert;
mod workers;

pub(in crate::edge) use convert::from_wire;
pub(super) use service::CrewApi;
pub(in crate::edge) use worker_convert::from_wire as worker_from_wire;
