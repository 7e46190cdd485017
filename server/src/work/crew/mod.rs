//! Crews: people who go out together.

mod create;
mod delete;
mod read;
mod references;
mod update;

pub use create::CreateCrew;
pub use delete::DeleteCrew;
pub use read::{CrewNow, find, get, list, with_workers};
pub use references::{UnitPart, check_references, check_shared_units, unit_parts};
pub use update::UpdateCrew;

use super::Kinds;

/// The words of a crew's changes.
pub const KINDS: Kinds = Kinds {
    created: "crew.created",
    changed: "crew.changed",
    deleted: "crew.deleted",
};

/// The resource name of a crew.
pub fn name(branch: &str, id: &str) -> String {
    format!("branches/{branch}/crews/{id}")
}
