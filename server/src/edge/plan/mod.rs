//! Plans at the edge.

pub(super) mod convert;
mod service;
mod sheet;
mod words;

pub(super) use service::PlanApi;
