//! `SiteService`.

mod area;
pub(super) mod convert;
mod service;

pub(super) use service::SiteApi;
