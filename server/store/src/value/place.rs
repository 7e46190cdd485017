//! A point on the ground.

use serde::{Deserialize, Serialize};

/// A point on the ground, WGS 84 degrees.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Place {
    /// Degrees north, -90 to 90.
    pub latitude: f64,
    /// Degrees east, -180 to 180.
    pub longitude: f64,
}
