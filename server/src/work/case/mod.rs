//! Cases: damage, callbacks and complaints.

mod close;
mod open;
mod read;
mod returning;

pub use close::CloseCase;
pub use open::OpenCase;
pub use read::{CaseFilter, get, list};

/// The resource name of a case.
pub fn name(branch: &str, id: &str) -> String {
    format!("branches/{branch}/cases/{id}")
}
