//! Taking an iteration back.

use super::route::Route;
use super::shares::Share;
use super::state::State;
use crate::cost::Cost;
use crate::index::JobIx;

/// Routes as they were before the iteration.
#[derive(Default)]
pub(crate) struct Undo {
    saved: Vec<(usize, Route)>,
    spare: Vec<Route>,
    bank: Vec<JobIx>,
    shares: Vec<Share>,
}

impl Undo {
    pub(super) fn begin(&mut self, state: &State) {
        self.spare
            .extend(self.saved.drain(..).map(|(_, route)| route));
        self.bank.clone_from(&state.bank);
        self.shares.clone_from(&state.shares);
    }

    pub(crate) fn save(&mut self, state: &State, crew: usize) {
        if self.saved.iter().any(|(saved, _)| *saved == crew) {
            return;
        }
        let route = match self.spare.pop() {
            Some(mut route) => {
                route.clone_from(&state.routes[crew]);
                route
            }
            None => state.routes[crew].clone(),
        };
        self.saved.push((crew, route));
    }

    /// Crews whose days are not as they were saved.
    pub(super) fn changed<'u>(&'u self, state: &'u State) -> impl Iterator<Item = usize> + 'u {
        let changed = self
            .saved
            .iter()
            .filter(|(crew, was)| state.routes[*crew].version != was.version);
        changed.map(|(crew, _)| *crew)
    }

    pub(super) fn restore(&mut self, state: &mut State, cost: Cost) {
        for (crew, _) in &self.saved {
            state.release(*crew);
            state.forget_jobs(*crew);
        }
        state.restore_shares(&self.shares);
        for (crew, route) in &mut self.saved {
            state.restore(*crew, route);
        }
        for (crew, _) in &self.saved {
            state.hold(*crew);
            state.note_jobs(*crew);
        }
        state.bank.clone_from(&self.bank);
        state.cost = cost;
    }
}
