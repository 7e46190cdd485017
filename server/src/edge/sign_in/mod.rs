//! Who calls, where keys are asked for: found before a service sees the call, and held against every name in it.

mod access;
mod caller;
mod layer;

pub(super) use caller::{gone, is_good_for_all, only_branch, refuse, signs};
pub use layer::SignIn;
