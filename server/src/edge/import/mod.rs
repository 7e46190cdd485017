//! `ImportService`.

mod convert;
mod service;

pub(super) use service::ImportApi;
