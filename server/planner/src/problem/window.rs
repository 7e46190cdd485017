//! Stretches of time.

use crate::Seconds;

/// From one instant to another, both included.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Window {
    /// First instant.
    pub open: Seconds,
    /// Last instant, not before the first.
    pub close: Seconds,
}

impl Window {
    /// Whether the stretch from `from` to `to` lies within.
    pub const fn covers(&self, from: Seconds, to: Seconds) -> bool {
        self.open <= from && to <= self.close
    }
}
