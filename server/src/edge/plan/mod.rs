//! Plans at the edge.

mod asked;
mod chances;
mod changed;
pub(super) mod convert;
mod disruption;
mod matrix;
mod service;
mod sheet;
mod words;

pub(super) use service::PlanApi;
