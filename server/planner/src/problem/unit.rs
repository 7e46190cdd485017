//! Machines and tools.

use super::Window;
use crate::index::{CapabilityIx, ClassIx, CouplingIx, PlaceIx};

/// What like units have in common. A unit whose capability is reduced belongs to a class of its own.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UnitClass {
    /// How it gets its power.
    pub role: Role,
    /// What it can do: an attachment on its powerhead, anything else by itself.
    pub capabilities: Vec<CapabilityIx>,
    /// Width that must pass a gate, millimetres; 0 for what is carried.
    pub width_mm: u32,
    /// Steepest ground it may work on, permille.
    pub slope_max_permille: u32,
    /// Load space taken, in the same unit as [`Crew::load_space`](super::Crew::load_space).
    pub space: u32,
    /// Wear while running, minor units per hour.
    pub wear_per_hour: i64,
    /// Too loud for a job's quiet times.
    pub noisy: bool,
}

/// How a unit works.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// By itself.
    Whole,
    /// Only on a powerhead of the same coupling.
    Attachment {
        /// The coupling.
        coupling: CouplingIx,
    },
    /// Drives attachments of the same coupling; capabilities of its own count as those of a whole unit.
    Powerhead {
        /// The coupling.
        coupling: CouplingIx,
    },
}

/// A serialised machine or tool.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unit {
    /// Its class.
    pub class: ClassIx,
    /// The yard where it stands when no crew has it. A crew loads only units that stand where the crew is.
    pub home: PlaceIx,
    /// When it is fit and free, in order and apart from each other. Outside these it is tagged out or in service. A
    /// crew has a unit from loading until it puts it down or is back; the whole of that lies within one of these windows.
    pub available: Vec<Window>,
}

/// What a task is done with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Tool {
    /// Nothing from the load-out.
    Hand,
    /// A unit that works by itself.
    Whole(ClassIx),
    /// An attachment on a powerhead of the same coupling.
    Pair {
        /// The attachment, which gives the capability.
        attachment: ClassIx,
        /// The powerhead.
        powerhead: ClassIx,
    },
}

impl Tool {
    /// The classes the tool is made of.
    pub fn classes(self) -> impl Iterator<Item = ClassIx> {
        let (first, second) = match self {
            Self::Hand => (None, None),
            Self::Whole(class) => (Some(class), None),
            Self::Pair {
                attachment,
                powerhead,
            } => (Some(attachment), Some(powerhead)),
        };
        first.into_iter().chain(second)
    }
}
