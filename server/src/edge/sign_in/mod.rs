//! Who calls, where keys are asked for: found before a service sees the call, and held against every name in it.

mod access;
mod caller;
mod layer;

pub(super) use caller::{gone, only_branch, refuse, refuse_to_write, signer};
pub use layer::SignIn;
