//! What a person must know of a job that its tasks do not say.

use crate::units::Metres;
use core::fmt;

/// Distance bystanders keep from a line head or blade head at work: 15 m, as three makers'
/// operator manuals for trimmers and brush cutters have it (a standard behind it is from memory).
pub const KEEP_CLEAR: Metres = Metres::new(15.0);

/// A notice on a composed job.
#[derive(Debug, Clone, PartialEq)]
pub enum Notice {
    /// The turf is brought down over several visits, a third of the blade at a time.
    CutInStages {
        /// The area.
        area: usize,
        /// The height each visit leaves, this one first, the set height last.
        heights: Vec<Metres>,
    },
    /// A deadline has the turf cut at once, by more than a third of the blade.
    DeadlineOverridesOneThird {
        /// The area.
        area: usize,
        /// The share of the blade that comes off, 0 to 1.
        removed_share: f64,
    },
    /// The growth was so tall that knocking it down alone takes more than a third.
    KnockDownPastOneThird {
        /// The area.
        area: usize,
    },
    /// Things may lie hidden in the growth.
    HiddenObstacles {
        /// The area.
        area: usize,
    },
    /// A head throws things: people and animals keep their distance.
    KeepClear {
        /// How far.
        distance: Metres,
    },
}

impl fmt::Display for Notice {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::CutInStages { heights, .. } => {
                write!(f, "cut in stages, a third of the blade at a time:")?;
                heights.iter().try_for_each(|height| write!(f, " {:.1} in", height.to_inches()))
            }
            Self::DeadlineOverridesOneThird { removed_share, .. } => write!(
                f,
                "the deadline overrides the one-third rule: {:.0} % of the blade comes off at once; the turf may brown and recover slowly",
                removed_share * 100.0
            ),
            Self::KnockDownPastOneThird { .. } => f.write_str(
                "knocking down takes more than a third of the blade; the turf may brown and recover slowly",
            ),
            Self::HiddenObstacles { .. } => f.write_str(
                "obstacles may lie hidden in tall growth: search on foot before any machine goes in",
            ),
            Self::KeepClear { distance } => write!(
                f,
                "thrown objects: keep people and animals {:.0} m ({:.0} ft) away and stop if anyone comes closer; the machine's manual decides",
                distance.value(),
                distance.to_feet()
            ),
        }
    }
}
