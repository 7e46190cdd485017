//! `UnitService`.

pub(super) mod convert;
mod kind;
mod service;

pub(super) use service::UnitApi;
