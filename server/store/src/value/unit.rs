//! What units are and can do.

use super::{json_list, words};

words!(
    /// What a unit is.
    UnitKind {
        /// An engine or motor that drives attachments.
        Powerhead,
        /// Works only on a powerhead of the same coupling.
        Attachment,
        /// A mower walked behind.
        WalkMower,
        /// A mower ridden or stood on.
        RideOnMower,
        /// A blower.
        Blower,
        /// A hand tool.
        HandTool,
        /// A trailer.
        Trailer,
        /// A truck or van.
        Vehicle,
    }
);

impl UnitKind {
    /// Whether it carries units: others are loaded.
    pub const fn carries(self) -> bool {
        matches!(self, Self::Trailer | Self::Vehicle)
    }
}

words!(
    /// What a unit, or an attachment on a powerhead, can do.
    Capability {
        /// Cuts a vertical line along a hard edge.
        Edger,
        /// Spins line.
        LineHead,
        /// Spins a brush blade.
        BladeHead,
        /// Mows and discharges.
        Mower,
        /// Mows and collects.
        CollectingMower,
        /// Blows.
        Blower,
        /// Rakes and bags by hand.
        Rake,
        /// Cuts and lifts sod by hand.
        FlatShovel,
        /// Carries other units, or people.
        Carrier,
    }
);

json_list!(
    /// What one unit can do, or any one of which serves a task.
    Capabilities of Capability
);
