//! The part of a plan that a stretch of the search works on.

use rand::RngExt;
use rand_xoshiro::Xoshiro256PlusPlus;

use super::state::State;
use crate::index::JobIx;

/// Some crews, with the jobs that are theirs or that they could take up.
#[derive(Debug, Clone, Default)]
pub(crate) struct Scope {
    pub(crate) crews: Vec<usize>,
    pub(crate) jobs: Vec<JobIx>,
    inside: Vec<bool>,
}

impl Scope {
    /// All of it.
    pub(crate) fn whole(state: &State) -> Self {
        let crews: Vec<usize> = (0..state.routes.len()).collect();
        Self::new(state, crews, state.model.open_jobs.clone())
    }

    pub(crate) fn new(state: &State, crews: Vec<usize>, jobs: Vec<JobIx>) -> Self {
        let mut inside = vec![false; state.routes.len()];
        for &crew in &crews {
            inside[crew] = true;
        }
        Self {
            crews,
            jobs,
            inside,
        }
    }

    pub(crate) fn has(&self, crew: usize) -> bool {
        self.inside[crew]
    }

    pub(crate) fn any_crew(&self, rng: &mut Xoshiro256PlusPlus) -> usize {
        self.crews[rng.random_range(0..self.crews.len())]
    }
}
