//! `CrewService`: crews, and the workers in them.

pub(super) mod convert;
mod crews;
mod service;
pub(super) mod worker_convert;
mod workers;

pub(super) use service::CrewApi;
