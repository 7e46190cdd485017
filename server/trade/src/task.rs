//! The kinds of work and the methods that do them.
//!
//! A **task** is one kind of work on one area. Its **method** says which tool it needs. The order
//! of tasks within a job is not stored here: it follows from the rules in [`crate::compose`].

use core::fmt;

/// One kind of work.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum TaskKind {
    /// Walking the site before work: obstacles, damage already there, what was promised.
    WalkBefore,
    /// Cutting a clean line along a hard edge (kerb, path, drive).
    Edge,
    /// Bringing tall turf down to a height a mower can enter.
    KnockDown,
    /// Cutting woody growth.
    CutBrush,
    /// Cutting turf where a mower cannot reach.
    Trim,
    /// Mowing the turf once.
    Mow,
    /// Mowing it again in another direction, because wheels lay stems down.
    SecondPass,
    /// Gathering debris and carrying it to the vehicle.
    Collect,
    /// Blowing hard surfaces clean.
    BlowOff,
    /// Walking the site after work: result, photos, damage, the customer's word.
    WalkAfter,
}

impl TaskKind {
    /// Every kind, in the order of ordinary work.
    pub const ALL: [Self; 10] = [
        Self::WalkBefore,
        Self::Edge,
        Self::KnockDown,
        Self::CutBrush,
        Self::Trim,
        Self::Mow,
        Self::SecondPass,
        Self::Collect,
        Self::BlowOff,
        Self::WalkAfter,
    ];

    /// The kind in words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::WalkBefore => "walk before",
            Self::Edge => "edge",
            Self::KnockDown => "knock down",
            Self::CutBrush => "cut brush",
            Self::Trim => "trim",
            Self::Mow => "mow",
            Self::SecondPass => "second pass",
            Self::Collect => "collect",
            Self::BlowOff => "blow off",
            Self::WalkAfter => "walk after",
        }
    }
}

impl fmt::Display for TaskKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.words())
    }
}

/// How a task is done, which is to say with what.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Method {
    /// No tool: walking, looking, talking.
    OnFoot,
    /// A powered edger with a vertical blade.
    Edger,
    /// A flat shovel, for growth that lies over a hard edge.
    FlatShovel,
    /// A powerhead with a line head.
    LineHead,
    /// A powerhead with a brush blade.
    BladeHead,
    /// A mower that discharges or mulches its clippings.
    Mower,
    /// A mower that collects its clippings.
    CollectingMower,
    /// A blower.
    Blower,
    /// Rake and bag.
    RakeAndBag,
}

impl Method {
    /// Every method.
    pub const ALL: [Self; 9] = [
        Self::OnFoot,
        Self::Edger,
        Self::FlatShovel,
        Self::LineHead,
        Self::BladeHead,
        Self::Mower,
        Self::CollectingMower,
        Self::Blower,
        Self::RakeAndBag,
    ];

    /// The method in words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::OnFoot => "on foot",
            Self::Edger => "edger",
            Self::FlatShovel => "flat shovel",
            Self::LineHead => "line head",
            Self::BladeHead => "blade head",
            Self::Mower => "mower",
            Self::CollectingMower => "collecting mower",
            Self::Blower => "blower",
            Self::RakeAndBag => "rake and bag",
        }
    }

    /// Whether the method can do the task at all.
    ///
    /// A line head *can* edge; that it must not be the standing method is a rule of
    /// [`crate::compose`], because the harm comes from repeating it.
    pub const fn can_do(self, kind: TaskKind) -> bool {
        match kind {
            TaskKind::WalkBefore | TaskKind::WalkAfter => matches!(self, Self::OnFoot),
            TaskKind::Edge => matches!(self, Self::Edger | Self::FlatShovel | Self::LineHead),
            TaskKind::KnockDown | TaskKind::CutBrush => {
                matches!(self, Self::LineHead | Self::BladeHead)
            }
            TaskKind::Trim => matches!(self, Self::LineHead),
            TaskKind::Mow | TaskKind::SecondPass => {
                matches!(self, Self::Mower | Self::CollectingMower)
            }
            TaskKind::Collect => matches!(self, Self::RakeAndBag),
            TaskKind::BlowOff => matches!(self, Self::Blower),
        }
    }
}

impl fmt::Display for Method {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.words())
    }
}

/// How much of it there is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Measure {
    /// By area.
    Area(crate::units::SquareMetres),
    /// By length.
    Length(crate::units::Metres),
}

impl Measure {
    /// The measure in words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Area(_) => "an area",
            Self::Length(_) => "a length",
        }
    }
}
