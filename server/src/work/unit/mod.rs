//! Units: serialised machines and tools.

mod create;
mod delete;
mod read;
mod references;
mod update;

pub use create::CreateUnit;
pub use delete::DeleteUnit;
use read::get;
pub use read::{UnitNow, UnitState, find, list, with_branch, with_tag};
pub use references::{check_references, ties_in_the_way};
pub use update::UpdateUnit;

use super::Kinds;

/// The words of a unit's changes.
pub const KINDS: Kinds = Kinds {
    created: "unit.created",
    changed: "unit.changed",
    deleted: "unit.deleted",
};

/// The resource name of a unit.
pub fn name(branch: &str, id: &str) -> String {
    format!("branches/{branch}/units/{id}")
}
