//! Driving times from a file of road segments.
//!
//! [`Network::read`] takes an extract of open map data in the PBF layout (OpenStreetMap Wiki, "PBF Format") and keeps the
//! roads a truck may use. [`Engine`] prepares them for quick shortest-path queries by contraction hierarchies (the
//! `fast_paths` crate; R. Geisberger et al., Exact Routing in Large Road Networks Using Contraction Hierarchies,
//! Transportation Science 46(3), 2012). [`Engine::table`] gives times and distances between places, laid out as
//! [`forenoon_planner::travel::Travel::from_table`] takes them.
//!
//! [`Roads`] remembers what was found.
//!
//! The crate opens no file and no connection: the caller reads the bytes. The same bytes and places give the same table.
//!
//! Speeds are those posted, or usual ones of the kind of road: a plan's times, not a promise that the road is open.

mod engine;
mod network;
mod road;
mod roads;

pub use engine::{Engine, EngineError, Table};
pub use network::{Arc, Network, ReadError};
pub use roads::{Drive, NoDrives, Roads};

/// Most bytes of one file.
pub const BYTES_MAX: usize = 1 << 30;
/// Most points of one network.
pub const POINTS_MAX: usize = 4_000_000;
/// Most places of one table, which has an entry for each pair of them.
pub const PLACES_MAX: usize = 2_500;
