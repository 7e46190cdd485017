//! Choosing what to take out: strings of neighbouring stops, jobs that use one class of units, whole days.
//!
//! The string removal follows Christiaens and Vanden Berghe, "Slack Induction by String Removals for Vehicle Routing
//! Problems", Transportation Science 54(2), 2020.

use rand::RngExt;
use rand_xoshiro::Xoshiro256PlusPlus;

use super::class_set::Class;
use super::route::Visit;
use super::scope::Scope;
use super::state::State;
use crate::index::JobIx;

/// How much is taken out.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Extent {
    /// Jobs taken out on average.
    pub(crate) mean: usize,
    /// Longest string.
    pub(crate) string_max: usize,
}

/// Jobs to take out, by crew.
#[derive(Default)]
pub(crate) struct Ruin {
    pub(crate) by_crew: Vec<(usize, Vec<JobIx>)>,
    spare: Vec<Vec<JobIx>>,
}

impl Ruin {
    /// Nothing is to be taken out.
    pub(crate) fn clear(&mut self) {
        for (_, mut jobs) in self.by_crew.drain(..) {
            jobs.clear();
            self.spare.push(jobs);
        }
    }

    fn touches(&self, crew: usize) -> bool {
        self.by_crew.iter().any(|(touched, _)| *touched == crew)
    }

    fn list(&mut self, crew: usize) -> Option<&mut Vec<JobIx>> {
        if !self.touches(crew) {
            self.by_crew
                .push((crew, self.spare.pop().unwrap_or_default()));
        }
        self.by_crew
            .iter_mut()
            .find(|(touched, _)| *touched == crew)
            .map(|(_, jobs)| jobs)
    }

    /// Strings of stops around a seed job, each in another crew's day. With `split`, a stretch inside each string is
    /// spared.
    pub(crate) fn strings(
        &mut self,
        state: &State,
        scope: &Scope,
        seed: JobIx,
        extent: Extent,
        rng: &mut Xoshiro256PlusPlus,
    ) {
        self.clear();
        let lengths = || {
            let of_crew = |crew: &usize| state.routes[*crew].visits.len();
            scope.crews.iter().map(of_crew)
        };
        let planned: usize = lengths().sum();
        let days = lengths().filter(|length| *length > 0).count();
        if days == 0 {
            return;
        }
        let longest = extent.string_max.min((planned / days).max(1));
        let strings_most = (4 * extent.mean / (1 + longest)).max(2) - 1;
        let strings = rng.random_range(1..=strings_most.max(1));
        let nearest =
            std::iter::once(seed).chain(state.model.neighbours[seed.ix()].iter().copied());
        for job in nearest {
            if self.by_crew.len() >= strings {
                break;
            }
            let Some(crew) = state.route_of[job.ix()] else {
                continue;
            };
            if self.touches(crew) || !scope.has(crew) {
                continue;
            }
            let route = &state.routes[crew];
            let Some(at) = route.position(job) else {
                continue;
            };
            let count = route.visits.len();
            let length = rng.random_range(1..=longest.min(count));
            let spared = if length > 1 && length < count && rng.random_range(0..2) == 0 {
                rng.random_range(1..=(count - length).min(3))
            } else {
                0
            };
            let whole = length + spared;
            let lowest = (at + 1).saturating_sub(whole);
            let highest = at.min(count - whole);
            let begin = rng.random_range(lowest..=highest);
            let gap = if spared > 0 {
                begin + rng.random_range(1..length.max(2))
            } else {
                begin + whole
            };
            let list: Vec<JobIx> = route.visits[begin..begin + whole]
                .iter()
                .enumerate()
                .filter(|(n, _)| spared == 0 || !(gap..gap + spared).contains(&(begin + n)))
                .filter_map(|(_, visit)| match visit {
                    Visit::Job(job) => Some(*job),
                    Visit::Call(_) | Visit::Meet(_) => None,
                })
                .collect();
            if let Some(jobs) = self.list(crew) {
                jobs.extend(list);
            }
        }
    }

    /// Every job of one crew that uses the class, so that its unit becomes free.
    pub(crate) fn class_users(&mut self, state: &State, crew: usize, class: Class) {
        self.clear();
        let route = &state.routes[crew];
        let mut list = Vec::new();
        for (position, visit) in route.visits.iter().enumerate() {
            if let Visit::Job(job) = visit
                && route.services[position].uses.has(class)
            {
                list.push(*job);
            }
        }
        if !list.is_empty()
            && let Some(jobs) = self.list(crew)
        {
            jobs.extend(list);
        }
    }

    /// Every job of one crew.
    pub(crate) fn whole_day(&mut self, state: &State, crew: usize) {
        self.clear();
        if let Some(jobs) = self.list(crew) {
            jobs.extend(state.routes[crew].jobs());
        }
    }
}
