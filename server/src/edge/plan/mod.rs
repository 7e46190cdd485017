//! Plans at the edge.

mod convert;
mod disruption;
mod service;
mod sheet;
mod words;

pub(super) use service::PlanApi;
