//! Sites: customers' places.

mod create;
mod delete;
mod read;
mod references;
mod update;

pub use create::CreateSite;
pub use delete::DeleteSite;
use read::get;
pub use read::{find, list, with_branch};
pub use references::jobs_on_lost_areas;
pub use update::UpdateSite;

use super::Kinds;

/// The words of a site's changes.
pub const KINDS: Kinds = Kinds {
    created: "site.created",
    changed: "site.changed",
    deleted: "site.deleted",
};

/// The most areas of a site, and the most hazards, as the contract has it.
pub const PARTS_MAX: usize = 200;

/// The resource name of a site.
pub fn name(branch: &str, id: &str) -> String {
    format!("branches/{branch}/sites/{id}")
}
