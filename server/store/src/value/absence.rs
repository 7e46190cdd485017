//! Times at which a unit is not there.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use super::json_list;

/// A stretch of time in which a unit is away, for a service or a loan.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Absence {
    /// First instant.
    pub start_time: DateTime<Utc>,
    /// First instant after it.
    pub end_time: DateTime<Utc>,
    /// Why, in words.
    pub reason: String,
}

json_list!(
    /// A unit's absences.
    Absences of Absence
);
