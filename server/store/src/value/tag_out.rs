//! The words of a tag-out.

use chrono::{DateTime, Utc};
use sea_orm::FromJsonQueryResult;
use serde::{Deserialize, Serialize};

use super::{TaskKind, words};

words!(
    /// What was seen, heard or smelt.
    Symptom {
        /// Does not start.
        NoStart,
        /// Stalls, or has no power.
        PowerLoss,
        /// Shakes more than it should.
        Vibration,
        /// Leaks fuel, oil or hydraulic fluid.
        Leak,
        /// A guard, shield or safety switch is missing or does not work.
        Guard,
        /// A blade, head or belt is bent, loose, cracked or worn.
        CuttingPart,
        /// A tyre, wheel, hitch or light.
        RunningGear,
        /// Overheats or smokes.
        Overheating,
        /// Something else, told in words.
        Other,
    }
);

words!(
    /// How bad it is.
    Severity {
        /// Must not be used.
        Unsafe,
        /// May be used for what the tag does not forbid.
        Reduced,
    }
);

words!(
    /// Where a tag-out stands.
    TagOutState {
        /// Tagged, nobody has looked yet.
        Tagged,
        /// A mechanic knows what is wrong.
        Diagnosed,
        /// Waits for parts.
        WaitingForParts,
        /// Repaired, not yet inspected.
        Repaired,
        /// Inspected and passed.
        Inspected,
        /// Released: the unit may go out.
        Released,
    }
);

/// What a unit of reduced severity must not do.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, FromJsonQueryResult)]
#[serde(transparent)]
pub struct ForbiddenTasks(pub Vec<TaskKind>);

/// A kind of work that a tag forbade before it was made to forbid more.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ForbiddenKind {
    /// The kind of work.
    pub kind: TaskKind,
    /// Since when.
    pub since: DateTime<Utc>,
}

/// What a unit of reduced severity must not do since before its tag got worse.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, FromJsonQueryResult)]
#[serde(transparent)]
pub struct ForbiddenEarlier(pub Vec<ForbiddenKind>);
