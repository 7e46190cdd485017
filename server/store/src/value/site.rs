//! The parts of a site.

use serde::{Deserialize, Serialize};

use super::{Place, json_list, words};

words!(
    /// What an area is.
    AreaKind {
        /// Grass to be mown.
        Turf,
        /// Edge of a walk, drive or kerb.
        HardEdge,
        /// Brush and woody growth.
        Brush,
        /// Planted bed.
        Bed,
        /// Paved surface.
        HardSurface,
    }
);

words!(
    /// How much stands in a mower's way.
    Obstacles {
        /// Open ground.
        None,
        /// A tree or post here and there.
        Few,
        /// Trees, beds and furniture all over.
        Many,
    }
);

words!(
    /// The shape of an area, as it costs turning.
    AreaShape {
        /// Long and straight.
        Open,
        /// As most lawns are.
        Ordinary,
        /// Strips, corners and islands.
        Broken,
    }
);

words!(
    /// Where clippings may go.
    Clippings {
        /// May stay on the turf.
        MayLie,
        /// Are collected and stay at the customer's bin or heap.
        CustomerHeap,
        /// Are collected and taken away.
        TakeAway,
    }
);

/// A part of a site that is worked as one.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Area {
    /// Its id within the site.
    pub area_id: String,
    /// Name on sheets.
    pub display_name: String,
    /// What it is.
    pub kind: AreaKind,
    /// Its surface, where it has one.
    pub surface_square_metres: Option<f64>,
    /// Its length, where it has one.
    pub length_metres: Option<f64>,
    /// Steepest slope, rise over run.
    pub slope_percent: f64,
    /// Narrowest passage a machine must get through; none means no limit.
    pub narrowest_gate_millimetres: Option<f64>,
    /// What stands in the way.
    pub obstacles: Obstacles,
    /// Its shape.
    pub shape: AreaShape,
}

json_list!(
    /// A site's areas.
    Areas of Area
);

/// Something on a site that can hurt people or machines.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Hazard {
    /// Its id within the site.
    pub hazard_id: String,
    /// What it is and where, in words.
    pub description: String,
    /// Where it is, where known.
    pub place: Option<Place>,
    /// The area it lies in, where known.
    pub area_id: Option<String>,
}

json_list!(
    /// A site's hazards.
    Hazards of Hazard
);
