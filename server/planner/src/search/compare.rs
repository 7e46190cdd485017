//! Moves compared with a full evaluation.
//!
//! A search reckons what a move changes and no more. In debug builds the day of every single insertion and removal is reckoned
//! again from nothing right after it, whether the iteration it belongs to is kept or not.

use std::cell::Cell;

use super::state::State;

/// How many moves of the calling thread have been compared; none in builds without debug assertions.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Compared {
    /// Jobs put into a crew's day.
    pub insertions: u64,
    /// Times that jobs were taken out of one.
    pub removals: u64,
    /// Those of both that belong to an iteration of the search whose result was kept.
    pub kept: u64,
}

thread_local! {
    static COMPARED: Cell<Compared> = Cell::default();
    /// Moves of the iteration under way.
    static UNDER_WAY: Cell<u64> = const { Cell::new(0) };
}

/// The moves of this thread so far.
pub fn compared() -> Compared {
    COMPARED.get()
}

/// Compares the day of a crew that a job was put into.
pub(super) fn insertion(state: &State, crew: usize) {
    one(state, crew, |compared| compared.insertions += 1);
}

/// Compares the day of a crew that jobs were taken out of.
pub(super) fn removal(state: &State, crew: usize) {
    one(state, crew, |compared| compared.removals += 1);
}

fn one(state: &State, crew: usize, count: impl FnOnce(&mut Compared)) {
    if cfg!(debug_assertions) {
        state.assert_day_consistent(crew);
        let mut so_far = COMPARED.get();
        count(&mut so_far);
        COMPARED.set(so_far);
        UNDER_WAY.set(UNDER_WAY.get() + 1);
    }
}

/// An iteration begins.
pub(super) fn begin() {
    if cfg!(debug_assertions) {
        UNDER_WAY.set(0);
    }
}

/// The iteration's result is kept.
pub(super) fn keep() {
    if cfg!(debug_assertions) {
        let mut so_far = COMPARED.get();
        so_far.kept += UNDER_WAY.get();
        COMPARED.set(so_far);
    }
}
