//! Tools as an estimate sees them: a kind, a width, a speed, what they may climb and carry.
//!
//! Which serialised unit this is, and whether it is fit today, is the caller's knowledge. A
//! powerhead with an attachment counts as the tool the pair makes: a line head, an edger.

use crate::fault::{Fault, within};
use crate::site::Ground;
use crate::task::Method;
use crate::units::{Degrees, Litres, Metres, MetresPerSecond};

/// What a tool is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum ToolKind {
    /// Nothing in hand.
    None,
    /// A mower its operator walks behind.
    WalkMower,
    /// A mower its operator rides or stands on.
    RideMower,
    /// A powered edger.
    Edger,
    /// A flat shovel.
    FlatShovel,
    /// A powerhead with a line head.
    LineHead,
    /// A powerhead with a brush blade.
    BladeHead,
    /// A blower.
    Blower,
    /// Rakes and bags.
    Rake,
}

impl ToolKind {
    /// The kind in words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::None => "bare hands",
            Self::WalkMower => "a walk-behind mower",
            Self::RideMower => "a ride-on mower",
            Self::Edger => "an edger",
            Self::FlatShovel => "a flat shovel",
            Self::LineHead => "a line head",
            Self::BladeHead => "a blade head",
            Self::Blower => "a blower",
            Self::Rake => "rakes and bags",
        }
    }

    /// Whether an engine or motor runs while it works.
    pub const fn is_powered(self) -> bool {
        !matches!(self, Self::None | Self::FlatShovel | Self::Rake)
    }
}

/// A tool as an estimate sees it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Equipment {
    /// What it is.
    pub kind: ToolKind,
    /// Cutting width, for mowers; 0.2 to 6.1 m (20 ft and a little).
    pub working_width: Metres,
    /// Working speed on level, well-kept turf, for mowers; 0.2 to 6 m/s.
    pub speed: MetresPerSecond,
    /// Steepest ground its manual allows, 0 to 60 degrees. The manual decides, not this default.
    pub max_slope: Degrees,
    /// Overall width with guards and chutes as it goes through a gate; 0.1 to 6.1 m.
    pub machine_width: Metres,
    /// Volume of its bag or hopper, if it collects; 5 to 5000 l.
    pub bag: Option<Litres>,
}

/// The widest machine: 20 ft, as units are recorded, and what rounding adds. Common practice, no source.
const WIDEST: Metres = Metres::new(6.1);
/// Room a machine needs in a gate beyond its own width. Common practice, no source.
pub const GATE_CLEARANCE: Metres = Metres::new(0.05);
/// Overhang of guards and chute beyond the cutting width. Common practice, no source.
const DECK_OVERHANG: Metres = Metres::new(0.06);
/// Slope limit when no manual is at hand: 15 degrees for both kinds, the limit commonly printed in
/// ride-on manuals (from memory); the machine's manual decides.
const USUAL_SLOPE_LIMIT: Degrees = Degrees::new(15.0);
/// A person on foot with a hand tool. Common practice, no source.
const HAND_SLOPE_LIMIT: Degrees = Degrees::new(40.0);

impl Equipment {
    /// Working on foot without a tool.
    pub const ON_FOOT: Self = Self::hand(ToolKind::None);

    /// A hand-held tool of a kind: it passes any gate, and its width and speed play no part.
    pub const fn hand(kind: ToolKind) -> Self {
        Self {
            kind,
            working_width: Metres::ZERO,
            speed: MetresPerSecond::ZERO,
            max_slope: HAND_SLOPE_LIMIT,
            machine_width: Metres::ZERO,
            bag: None,
        }
    }

    /// A walk-behind mower of a deck width, at the speed usual for its size.
    ///
    /// 2.5 mph up to 24 in, 3.5 mph above (self-propelled). Common practice, no source.
    pub fn walk_mower(deck: Metres) -> Self {
        let miles_per_hour = if deck <= Metres::from_inches(24.0) {
            2.5
        } else {
            3.5
        };
        Self {
            kind: ToolKind::WalkMower,
            working_width: deck,
            speed: MetresPerSecond::from_miles_per_hour(miles_per_hour),
            max_slope: USUAL_SLOPE_LIMIT,
            machine_width: deck + DECK_OVERHANG,
            bag: None,
        }
    }

    /// A ride-on mower of a deck width, at the speed usual for its size.
    ///
    /// 3 mph up to 36 in, 4.5 mph up to 54 in, 5.5 mph above. Common practice, no source; the
    /// upper two lie in the 3 to 7 mph the farm-machinery data give for mowers (ASAE D497, from
    /// memory).
    pub fn ride_mower(deck: Metres) -> Self {
        let miles_per_hour = if deck <= Metres::from_inches(36.0) {
            3.0
        } else if deck <= Metres::from_inches(54.0) {
            4.5
        } else {
            5.5
        };
        Self {
            kind: ToolKind::RideMower,
            working_width: deck,
            speed: MetresPerSecond::from_miles_per_hour(miles_per_hour),
            max_slope: USUAL_SLOPE_LIMIT,
            machine_width: deck + DECK_OVERHANG,
            bag: None,
        }
    }

    /// The same machine with a bag or hopper.
    #[must_use]
    pub const fn with_bag(mut self, bag: Litres) -> Self {
        self.bag = Some(bag);
        self
    }

    /// The tool a method calls for when no unit has been chosen yet; a 21 in walk-behind for
    /// mowing, with a 70 l bag where it collects.
    pub fn usual_for(method: Method) -> Self {
        let walk_mower = Self::walk_mower(Metres::from_inches(21.0));
        match method {
            Method::OnFoot => Self::ON_FOOT,
            Method::Edger => Self::hand(ToolKind::Edger),
            Method::FlatShovel => Self::hand(ToolKind::FlatShovel),
            Method::LineHead => Self::hand(ToolKind::LineHead),
            Method::BladeHead => Self::hand(ToolKind::BladeHead),
            Method::Mower => walk_mower,
            Method::CollectingMower => walk_mower.with_bag(Litres::new(70.0)),
            Method::Blower => Self::hand(ToolKind::Blower),
            Method::RakeAndBag => Self::hand(ToolKind::Rake),
        }
    }

    /// Whether this tool can carry out a method.
    pub const fn serves(&self, method: Method) -> bool {
        match method {
            Method::OnFoot => true,
            Method::Edger => matches!(self.kind, ToolKind::Edger),
            Method::FlatShovel => matches!(self.kind, ToolKind::FlatShovel),
            Method::LineHead => matches!(self.kind, ToolKind::LineHead),
            Method::BladeHead => matches!(self.kind, ToolKind::BladeHead),
            Method::Mower => self.is_mower(),
            Method::CollectingMower => self.is_mower() && self.bag.is_some(),
            Method::Blower => matches!(self.kind, ToolKind::Blower),
            Method::RakeAndBag => matches!(self.kind, ToolKind::Rake),
        }
    }

    /// Whether it is a mower.
    pub const fn is_mower(&self) -> bool {
        matches!(self.kind, ToolKind::WalkMower | ToolKind::RideMower)
    }

    /// Checks that the tool may work on the ground: gate and slope.
    ///
    /// # Errors
    /// [`Fault::GateTooNarrow`] or [`Fault::TooSteep`].
    pub fn fits(&self, ground: &Ground) -> Result<(), Fault> {
        if let Some(gate) = ground.narrowest_gate
            && self.machine_width > Metres::ZERO
            && self.machine_width + GATE_CLEARANCE > gate
        {
            return Err(Fault::GateTooNarrow {
                machine_width_metres: self.machine_width.value(),
                gate_width_metres: gate.value(),
            });
        }
        if ground.slope > self.max_slope {
            return Err(Fault::TooSteep {
                slope_degrees: ground.slope.value(),
                limit_degrees: self.max_slope.value(),
            });
        }
        Ok(())
    }

    /// Checks every field that the kind uses.
    ///
    /// # Errors
    /// The first field out of its bounds.
    pub fn check(&self) -> Result<(), Fault> {
        within(
            "equipment.max_slope_degrees",
            self.max_slope.value(),
            0.0,
            60.0,
        )?;
        if self.is_mower() {
            within(
                "equipment.working_width_metres",
                self.working_width.value(),
                0.2,
                WIDEST.value(),
            )?;
            within(
                "equipment.speed_metres_per_second",
                self.speed.value(),
                0.2,
                6.0,
            )?;
            within(
                "equipment.machine_width_metres",
                self.machine_width.value(),
                0.1,
                WIDEST.value(),
            )?;
        }
        if let Some(bag) = self.bag {
            within("equipment.bag_litres", bag.value(), 5.0, 5000.0)?;
        }
        Ok(())
    }
}
