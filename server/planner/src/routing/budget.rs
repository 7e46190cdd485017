//! How long a search may run.

use std::sync::atomic::{AtomicBool, Ordering};

/// How much of a search's allowance is spent. The engine has no clock; a caller that has one passes it in here.
///
/// A shared reference is asked from every thread.
pub trait Budget: Sync {
    /// Share of the allowance spent, from 0 to 1, when a thread has made `iterations` iterations. The search stops
    /// at 1 or more.
    fn spent(&self, iterations: u64) -> f64;
}

/// A budget of so many iterations on each thread: reproducible.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Iterations(pub u64);

impl Budget for Iterations {
    fn spent(&self, iterations: u64) -> f64 {
        if self.0 == 0 {
            1.0
        } else {
            iterations as f64 / self.0 as f64
        }
    }
}

/// A budget from a closure, for instance one that reads a clock.
#[derive(Debug, Clone, Copy)]
pub struct Spent<F>(pub F);

impl<F: Fn(u64) -> f64 + Sync> Budget for Spent<F> {
    fn spent(&self, iterations: u64) -> f64 {
        (self.0)(iterations)
    }
}

/// A flag by which another thread stops a search. Asked often enough to stop within a few milliseconds.
#[derive(Debug, Default)]
pub struct Cancel(AtomicBool);

impl Cancel {
    /// A flag not yet raised.
    pub const fn new() -> Self {
        Self(AtomicBool::new(false))
    }

    /// Asks the search to stop.
    pub fn raise(&self) {
        self.0.store(true, Ordering::Relaxed);
    }

    /// Whether the search was asked to stop.
    pub fn is_raised(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}
