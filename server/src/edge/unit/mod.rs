//! `UnitService`.

mod convert;
mod kind;
mod service;

pub(in crate::edge) use convert::from_wire;
pub(super) use service::UnitApi;
