//! Putting jobs back, each where it is cheapest at its turn.

use rand::RngExt;
use rand::seq::SliceRandom;
use rand_xoshiro::Xoshiro256PlusPlus;

use super::insertion::{Care, Inserter};
use super::scope::Scope;
use super::state::State;
use crate::Seconds;
use crate::cost::Cost;
use crate::index::JobIx;

/// Crews looked at for one job at most, beside those with a free day, when a problem has many.
const NEAR_CREWS_MAX: usize = 16;
/// Up to so many crews, each is looked at for every job.
const ALL_CREWS_UP_TO: usize = 24;

/// An order in which jobs are put back.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Order {
    Random,
    DearestFirst,
    WorthFirst,
    LongestFirst,
    FarthestFirst,
    NearestFirst,
    TightestFirst,
    FewestCrewsFirst,
}

impl Order {
    /// Draws an order; the ones that proved best come more often.
    pub(crate) fn draw(rng: &mut Xoshiro256PlusPlus) -> Self {
        match rng.random_range(0..16) {
            0..4 => Self::Random,
            4..7 => Self::DearestFirst,
            7..10 => Self::LongestFirst,
            10..12 => Self::FarthestFirst,
            12 => Self::NearestFirst,
            13..15 => Self::TightestFirst,
            _ => Self::FewestCrewsFirst,
        }
    }

    /// Sorts by this order, ties by chance.
    pub(crate) fn sort(self, state: &State, jobs: &mut [JobIx], rng: &mut Xoshiro256PlusPlus) {
        jobs.shuffle(rng);
        self.rank(state, jobs);
    }

    /// Sorts by this order, ties as they stand.
    pub(crate) fn rank(self, state: &State, jobs: &mut [JobIx]) {
        let problem = state.model.problem;
        let from = state.model.crews.first().map(|crew| crew.from);
        let distance = |job: &JobIx| {
            from.map_or(0, |from| {
                problem
                    .travel()
                    .table_seconds(from, problem.job(*job).place)
            })
        };
        match self {
            Self::Random => {}
            Self::DearestFirst => jobs.sort_by_key(|job| -state.model.penalties[job.ix()]),
            Self::WorthFirst => jobs.sort_by_key(|job| -state.model.worth(*job)),
            Self::LongestFirst => jobs.sort_by_key(|job| -state.model.typical_work[job.ix()]),
            Self::FarthestFirst => jobs.sort_by_key(|job| -distance(job)),
            Self::NearestFirst => jobs.sort_by_key(distance),
            Self::TightestFirst => jobs.sort_by_key(|job| {
                problem
                    .job(*job)
                    .windows
                    .iter()
                    .map(|window| window.close - window.open)
                    .sum::<Seconds>()
            }),
            Self::FewestCrewsFirst => jobs.sort_by_key(|job| state.model.eligible_crews[job.ix()]),
        }
    }
}

/// As much as a plan may cost where nothing depends on it.
pub(crate) const ANY_COST: Cost = Cost(i64::MAX);

/// Puts jobs back; keeps buffers between calls.
pub(crate) struct Refill {
    pub(crate) inserter: Inserter,
    crews: CrewList,
}

impl Refill {
    pub(crate) fn new(care: Care) -> Self {
        Self {
            inserter: Inserter::new(care),
            crews: CrewList::default(),
        }
    }

    /// Puts the jobs back in the given order; those that fit nowhere, or cost more than their penalty, go to the bank.
    ///
    /// Gives false, with the work half done, once the plan costs more than `most`, or would with the next job in it.
    /// What a later job could save, by using up a wait, is not counted on.
    pub(crate) fn recreate(
        &mut self,
        state: &mut State,
        scope: &Scope,
        jobs: &[JobIx],
        most: Cost,
        rng: &mut Xoshiro256PlusPlus,
        touched: &mut impl FnMut(&State, usize),
    ) -> bool {
        for &job in jobs {
            let room = most.0.saturating_sub(state.cost.0);
            if room < 0 {
                return false;
            }
            self.crews.select(state, scope, job, rng);
            let penalty = state.model.penalties[job.ix()].0;
            // What is not below the ceiling is not looked at.
            let ceiling = penalty.min(room.saturating_add(1));
            let (inserter, crews) = (&mut self.inserter, &self.crews.selected);
            if !place_below(state, job, inserter, crews, ceiling, rng, touched) {
                if penalty > room {
                    return false;
                }
                state.leave_out(job);
            }
        }
        state.cost <= most
    }
}

/// Puts the job where it is cheapest with one of the crews, if that costs less than its penalty.
pub(crate) fn place(
    state: &mut State,
    job: JobIx,
    inserter: &mut Inserter,
    crews: &[usize],
    rng: &mut Xoshiro256PlusPlus,
    touched: &mut impl FnMut(&State, usize),
) -> bool {
    let penalty = state.model.penalties[job.ix()].0;
    place_below(state, job, inserter, crews, penalty, rng, touched)
}

/// The same, if it costs less than the ceiling.
fn place_below(
    state: &mut State,
    job: JobIx,
    inserter: &mut Inserter,
    crews: &[usize],
    ceiling: i64,
    rng: &mut Xoshiro256PlusPlus,
    touched: &mut impl FnMut(&State, usize),
) -> bool {
    let Some(found) = inserter.find(state, job, crews, rng, ceiling) else {
        return false;
    };
    touched(state, found.crew);
    inserter.apply(state, job, found);
    true
}

/// Which crews are worth a look for a job.
#[derive(Default)]
struct CrewList {
    selected: Vec<usize>,
    mark: Vec<u32>,
    round: u32,
}

impl CrewList {
    fn select(&mut self, state: &State, scope: &Scope, job: JobIx, rng: &mut Xoshiro256PlusPlus) {
        self.selected.clear();
        if scope.crews.len() <= ALL_CREWS_UP_TO {
            self.selected.extend_from_slice(&scope.crews);
            return;
        }
        // A larger scope is the whole plan.
        let count = state.routes.len();
        self.round += 1;
        self.mark.resize(count, 0);
        for near in &state.model.neighbours[job.ix()] {
            if let Some(crew) = state.route_of[near.ix()]
                && self.mark[crew] != self.round
            {
                self.mark[crew] = self.round;
                self.selected.push(crew);
                if self.selected.len() == NEAR_CREWS_MAX {
                    break;
                }
            }
        }
        // Days without a stop have no neighbours; and a few others at random, for jobs that need a rare crew.
        let start = rng.random_range(0..count);
        let mut others = 0;
        for crew in (start..count).chain(0..start) {
            if others == NEAR_CREWS_MAX / 2 {
                break;
            }
            if self.mark[crew] != self.round && state.model.eligible(job, crew) {
                self.mark[crew] = self.round;
                self.selected.push(crew);
                others += 1;
            }
        }
    }
}
