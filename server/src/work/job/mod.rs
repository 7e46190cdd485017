//! Jobs: work wanted at a site.

mod cancel;
mod change;
mod create;
mod delete;
mod estimate;
pub(crate) mod follow_up;
mod read;
mod references;
mod update;

pub use cancel::CancelJob;
use change::{Changed, fit_changed};
pub use create::CreateJob;
pub use delete::DeleteJob;
pub(crate) use estimate::currency;
pub use estimate::{EstimateJob, Estimated, estimate};
use read::get;
pub use read::{Filter, find, list, with_branch};
pub use references::{fit_to_site, refuse_moved_while_running};
pub use update::UpdateJob;

use super::Kinds;

/// The words of a job's changes.
pub const KINDS: Kinds = Kinds {
    created: "job.created",
    changed: "job.changed",
    deleted: "job.deleted",
};

/// The resource name of a job.
pub fn name(branch: &str, id: &str) -> String {
    format!("branches/{branch}/jobs/{id}")
}
