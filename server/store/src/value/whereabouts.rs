//! Where units and crews are on a day under way, as far as load-outs and stops do not say it.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

/// A unit that is out with a crew and on no load-out of the plan: nobody may use it, or its crew has nothing more to do.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct UnitOut {
    /// The unit.
    pub unit_id: String,
    /// The crew that it went out with.
    pub crew_id: String,
    /// Whether it stands where the crew's trailer was left; else it is aboard.
    pub left_behind: bool,
    /// Since when it is out so.
    pub since: DateTime<Utc>,
}

/// A unit that a crew did not take along, although its load-out had it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct UnitMissing {
    /// The unit.
    pub unit_id: String,
    /// The crew.
    pub crew_id: String,
}

/// Where a crew stands, or drives, that no stop of the plan tells of.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct CrewStands {
    /// The crew.
    pub crew_id: String,
    /// The site; none for the yard.
    pub site_id: Option<String>,
    /// Since when it is there, or when it is expected.
    pub since: DateTime<Utc>,
}

/// A unit that somebody moved. Ids are within the branch.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct UnitMoved {
    /// The unit.
    pub unit_id: String,
    /// The crew that has it aboard now; none where it is in the yard.
    pub crew_id: Option<String>,
}
