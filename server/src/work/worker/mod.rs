//! Workers: people of the branch, in a crew or not.

mod create;
mod delete;
mod read;
mod references;
mod update;

pub use create::CreateWorker;
pub use delete::DeleteWorker;
pub use read::{find, get, list, with_branch};
pub use references::{check_references, unknown_crew};
pub use update::UpdateWorker;

use super::Kinds;

/// The words of a worker's changes.
pub const KINDS: Kinds = Kinds {
    created: "worker.created",
    changed: "worker.changed",
    deleted: "worker.deleted",
};

/// The resource name of a worker.
pub fn name(branch: &str, id: &str) -> String {
    format!("branches/{branch}/workers/{id}")
}
