//! Tag-outs at the edge.

pub(super) mod convert;
mod service;

pub(super) use service::TagOutApi;
