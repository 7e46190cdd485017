//! Who may call: keys that are given out, looked for with each call, and ended.

mod end;
mod issue;
mod keys;
mod list;
mod secret;

pub use end::end_key;
pub use issue::{Issued, KeyError, Terms, issue_key};
pub use keys::{KNOWN_FOR, Keys};
pub use list::list_keys;
pub use secret::Secret;

use forenoon_store::value::Role;

/// Who calls with a key, and what it is good for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Caller {
    /// Who, as the audit shows it: a worker's resource name, or the holder in words.
    pub name: String,
    /// The only branch; none where it is every branch.
    pub branch: Option<String>,
    /// The worker, where one holds the key.
    pub worker: Option<String>,
    /// What they do.
    pub roles: Vec<Role>,
    /// Everything, whatever their roles.
    pub everything: bool,
}

impl Caller {
    /// Whether something of a branch is this caller's to see or change.
    pub fn is_good_for(&self, branch: &str) -> bool {
        self.branch.as_deref().is_none_or(|only| only == branch)
    }

    /// Whether the caller has one of some roles, or may do everything.
    pub fn is_one_of(&self, roles: &[Role]) -> bool {
        self.everything || self.roles.iter().any(|role| roles.contains(role))
    }
}
