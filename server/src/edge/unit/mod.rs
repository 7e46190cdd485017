//! `UnitService`.

mod convert;
mod kind;
mod service;

pub(crate) use convert::from_wire;
pub(super) use service::UnitApi;
