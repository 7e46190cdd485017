//! Cases at the edge.

mod convert;
mod service;

pub(super) use service::CaseApi;
