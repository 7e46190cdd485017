//! The roads of the region, from a file.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use forenoon_roads::{Engine, Network, ReadError, Roads};

/// How far a place may lie from the nearest road, metres: a large park or an estate. Common practice, no source.
const REACH_METRES: u32 = 1_000;

/// The roads, where there is a file of them.
pub type KnownRoads = Option<Arc<Roads>>;

/// Why a file of roads is of no use.
#[derive(Debug, thiserror::Error)]
pub enum RoadsError {
    /// It cannot be read.
    #[error("the file of roads {} cannot be read: {cause}", path.display())]
    File {
        /// The file.
        path: PathBuf,
        /// The system's words.
        cause: std::io::Error,
    },
    /// It holds no network.
    #[error("the file of roads {}: {cause}", path.display())]
    Network {
        /// The file.
        path: PathBuf,
        /// What is wrong.
        cause: ReadError,
    },
}

/// Reads a file of roads and prepares it: some seconds for a county. Blocks.
///
/// # Errors
/// Where the file cannot be read or holds no network.
pub fn read_roads(path: &Path) -> Result<Roads, RoadsError> {
    let bytes = std::fs::read(path).map_err(|cause| RoadsError::File {
        path: path.to_owned(),
        cause,
    })?;
    let network = Network::read(&bytes).map_err(|cause| RoadsError::Network {
        path: path.to_owned(),
        cause,
    })?;
    Ok(Roads::new(Engine::new(&network), REACH_METRES))
}
