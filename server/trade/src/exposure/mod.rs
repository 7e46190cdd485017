//! What a day's work exposes people to: noise, hand-arm vibration and heat.
//!
//! These are planning inputs. They inform and certify nothing, and say so themselves: see
//! [`CAUTION`]. A real assessment measures the person, the machine and the place.

mod day;
pub mod heat;
pub mod noise;
pub mod vibration;

use crate::equipment::ToolKind;
use crate::units::{Decibels, MetresPerSecondSquared};

pub use day::{Limits, PersonDay, Run};

/// To be shown wherever a number from these modules is shown.
pub const CAUTION: &str = "For planning only: these figures certify nothing. Measured exposure, \
    the machine's manual, local codes and qualified advice decide.";

/// Where a day's exposure stands against the levels a company plans by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Standing {
    /// Below the action level.
    Below,
    /// At or above the action level: protect and reduce.
    Action,
    /// Above the limit: plan it otherwise.
    OverLimit,
}

impl Standing {
    pub(crate) fn of(value: f64, action: f64, limit: f64) -> Self {
        if value > limit {
            Self::OverLimit
        } else if value >= action {
            Self::Action
        } else {
            Self::Below
        }
    }
}

/// Noise at the ear and vibration at the hand of whoever works a kind of tool, for planning when
/// the machine's own figures are not at hand. From memory of the order of makers' declared values,
/// not of any one machine; the manual's figures replace them. `None` for an unpowered tool.
pub const fn usual_for(kind: ToolKind) -> Option<(Decibels, MetresPerSecondSquared)> {
    let (noise, vibration) = match kind {
        ToolKind::None | ToolKind::FlatShovel | ToolKind::Rake => return None,
        ToolKind::WalkMower => (88.0, 4.0),
        ToolKind::RideMower => (90.0, 2.0),
        ToolKind::Edger => (95.0, 6.0),
        ToolKind::LineHead => (96.0, 5.0),
        ToolKind::BladeHead => (97.0, 5.0),
        ToolKind::Blower => (97.0, 2.5),
    };
    Some((Decibels::new(noise), MetresPerSecondSquared::new(vibration)))
}
