//! Branches. The pattern for every resource with the standard methods.

mod beside;
mod create;
mod delete;
mod read;
mod still;
mod update;
mod zone;

pub use beside::Lookups;
pub use create::CreateBranch;
pub use delete::DeleteBranch;
pub use read::{all_ids, find, get, list};
pub use still::refuse_moved;
pub use update::UpdateBranch;
pub(crate) use zone::{local_day, zone};

/// The resource name of a branch.
pub fn name(id: &str) -> String {
    format!("branches/{id}")
}
