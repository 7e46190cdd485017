//! Typed positions, so that a crew cannot be taken for a job.

macro_rules! index {
    ($($(#[$doc:meta])* $name:ident),* $(,)?) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(pub u32);

        impl $name {
            /// The position as an index into the list it belongs to.
            pub const fn ix(self) -> usize {
                self.0 as usize
            }

            /// The position `ix`. Lists here are bounded far below `u32::MAX`; a larger number saturates and is then
            /// refused as out of range.
            pub fn from_ix(ix: usize) -> Self {
                Self(u32::try_from(ix).unwrap_or(u32::MAX))
            }
        }
    )*};
}

index! {
    /// A crew's working day in [`Parts::crews`](crate::problem::Parts::crews).
    CrewIx,
    /// A job in [`Parts::jobs`](crate::problem::Parts::jobs).
    JobIx,
    /// A unit in [`Parts::units`](crate::problem::Parts::units).
    UnitIx,
    /// A class of like units in [`Parts::classes`](crate::problem::Parts::classes).
    ClassIx,
    /// A place in the [`Travel`](crate::travel::Travel) table.
    PlaceIx,
    /// A skill, numbered by the caller.
    SkillIx,
    /// A capability ("mows turf", "cuts brush"), numbered by the caller.
    CapabilityIx,
    /// A coupling between powerhead and attachment, numbered by the caller.
    CouplingIx,
}
