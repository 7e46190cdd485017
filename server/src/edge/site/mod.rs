//! `SiteService`.

mod area;
mod convert;
mod service;

pub(crate) use convert::from_wire;
pub(super) use service::SiteApi;
