//! Tag-outs at the edge.

pub(super) mod convert;
mod render;
mod reopen;
mod service;

pub(super) use convert::to_wire;
pub(super) use service::TagOutApi;
