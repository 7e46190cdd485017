//! A whole branch as JSON lines: out of one server, into another.

mod export;
mod import;
pub(super) mod lines;

pub use export::{Export, export};
pub(super) use import::read_through;
pub use import::{ImportBranch, Spooled};

/// Most bytes of a part, on the wire: 1 MiB.
pub const PART_BYTES_MAX: usize = 1024 * 1024;
