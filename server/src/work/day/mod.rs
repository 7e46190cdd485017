//! The day as it happens: how it stands, and every change after that.
//!
//! The events that every accepted command writes are the one source. A watcher is a place in their numbering and nothing
//! more: what it has not been told yet stays in the database until it takes it. So nothing is missed, nothing comes
//! twice, and a watcher that is slow or dead holds up nobody.

mod event;
mod hub;
mod snapshot;
mod watch;

pub use event::{DayEvent, DayState};
pub use snapshot::{Snapshot, TaggedOut, snapshot};
pub use watch::{Place, Told, WatchLimits, Watcher, Watches};
