//! Visits at the edge.

mod actuals;
pub(super) mod convert;
mod photo;
mod photo_list;
mod report;
mod service;
mod walk;

pub(crate) use photo::Uploads;
pub(super) use service::VisitApi;
