//! `JobService`.

mod convert;
mod estimate;
mod part;
mod service;
mod window;
mod word;

pub(crate) use convert::from_wire;
pub(super) use service::JobApi;
