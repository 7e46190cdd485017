//! The bench at the edge.

mod service;

pub(super) use service::BenchApi;
