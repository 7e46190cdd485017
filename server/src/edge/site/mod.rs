//! `SiteService`.

mod area;
mod convert;
mod service;

pub(in crate::edge) use convert::from_wire;
pub(super) use service::SiteApi;
