//! `BranchService`: the pattern for every resource with the standard methods.

mod convert;
mod service;

pub(super) use service::BranchApi;
