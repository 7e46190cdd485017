//! One iteration of the search: take some jobs out, put them back, keep the result by chance and temperature.

use rand::RngExt;
use rand_xoshiro::Xoshiro256PlusPlus;

use super::anneal::Schedule;
use super::class_set::Class;
use super::insertion::Inserter;
use super::recreate::{CrewList, Order, recreate};
use super::removal::remove;
use super::route::Route;
use super::ruin::Ruin;
use super::scope::Scope;
use super::state::State;
use super::trade::{may_trade, trade_days};
use super::undo::Undo;
use crate::cost::Cost;
use crate::index::JobIx;

/// Neighbours of a job from which the bank is drawn.
const BANK_REACH: usize = 20;

/// What iterations share: settings, and buffers that are used again.
pub(crate) struct Walk {
    schedule: Schedule,
    hot: f64,
    cold: f64,
    inserter: Inserter,
    crews: CrewList,
    ruin: Ruin,
    undo: Undo,
    scratch: Option<Route>,
    jobs: Vec<JobIx>,
}

impl Walk {
    /// For a plan whose planned jobs cost as much as they do now.
    pub(crate) fn new(state: &State, schedule: &Schedule) -> Self {
        let (hot, cold) = temperatures(state, schedule);
        Self {
            schedule: *schedule,
            hot,
            cold,
            inserter: Inserter::new(schedule.care),
            crews: CrewList::default(),
            ruin: Ruin::default(),
            undo: Undo::default(),
            scratch: None,
            jobs: Vec::new(),
        }
    }

    /// Makes one iteration among the crews and jobs of the scope, at the temperature for so much of the budget spent.
    /// Most of the removals start at a job in `focus`, if there is one. Returns whether its result was kept.
    pub(crate) fn iterate(
        &mut self,
        state: &mut State,
        scope: &Scope,
        focus: &[JobIx],
        spent: f64,
        rng: &mut Xoshiro256PlusPlus,
    ) -> bool {
        let before = state.cost;
        let (schedule, jobs, undo) = (&self.schedule, &mut self.jobs, &mut self.undo);
        undo.begin(state);
        jobs.clear();
        let around = if let Some(pair) = draw_trade(state, scope, schedule, focus, rng) {
            for crew in pair {
                undo.save(state, crew);
            }
            let (inserter, scratch) = (&mut self.inserter, &mut self.scratch);
            trade_days(state, pair, inserter, rng, scratch, jobs);
            Around::Day
        } else {
            let around = choose(state, scope, &mut self.ruin, schedule, focus, rng);
            for (crew, list) in &mut self.ruin.by_crew {
                undo.save(state, *crew);
                remove(state, *crew, list, &mut self.scratch);
                jobs.extend(list.iter().copied());
            }
            around
        };
        draw_from_bank(state, jobs, schedule.bank_max, around, rng);
        Order::draw(rng).sort(state, jobs, rng);
        if let Around::Class(class) = around {
            // Those that were left out for want of it come first, or its holder takes it again.
            put_forward(state, jobs, schedule.claims_max, class, rng);
        }
        recreate(
            state,
            scope,
            jobs,
            &mut self.inserter,
            &mut self.crews,
            rng,
            &mut |state, crew| undo.save(state, crew),
        );
        let temperature = self.hot * (self.cold / self.hot).powf(spent);
        let chance: f64 = rng.random();
        let allowed = -chance.max(f64::MIN_POSITIVE).ln() * temperature;
        let kept = (state.cost - before).0 as f64 <= allowed;
        if kept {
            state.assert_consistent();
        } else {
            undo.restore(state, before);
        }
        kept
    }
}

fn temperatures(state: &State, schedule: &Schedule) -> (f64, f64) {
    let planned = state.model.open_jobs.len() - state.bank.len();
    let routes: i64 = state.routes.iter().map(|route| route.cost).sum();
    let mean = if planned > 0 {
        routes as f64 / planned as f64
    } else {
        Cost::PER_MINOR_UNIT as f64
    };
    let mean = mean.max(1_000.0);
    (
        mean * schedule.hot_permille / 1_000.0,
        mean * schedule.cold_permille / 1_000.0,
    )
}

/// What a removal went around.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Around {
    /// A job and its neighbours.
    Job(JobIx),
    /// The jobs of one crew that use a class.
    Class(Class),
    /// A whole day.
    Day,
}

/// Now and then, two crews that trade their days.
fn draw_trade(
    state: &State,
    scope: &Scope,
    schedule: &Schedule,
    focus: &[JobIx],
    rng: &mut Xoshiro256PlusPlus,
) -> Option<[usize; 2]> {
    if !focus.is_empty() || rng.random_range(0..1_000) >= schedule.trades_permille {
        return None;
    }
    let one = scope.any_crew(rng);
    let other = scope.any_crew(rng);
    may_trade(state, one, other).then_some([one, other])
}

/// Chooses what to take out.
fn choose(
    state: &State,
    scope: &Scope,
    ruin: &mut Ruin,
    schedule: &Schedule,
    focus: &[JobIx],
    rng: &mut Xoshiro256PlusPlus,
) -> Around {
    if !focus.is_empty() && rng.random_range(0..4) > 0 {
        let seed = focus[rng.random_range(0..focus.len())];
        ruin.strings(state, scope, seed, schedule.extent, rng);
        return Around::Job(seed);
    }
    match rng.random_range(0..20) {
        0 => {
            let crew = scope.any_crew(rng);
            let classes: Vec<Class> = state.routes[crew].legs[0].set.iter().collect();
            if !classes.is_empty() {
                let class = classes[rng.random_range(0..classes.len())];
                ruin.class_users(state, crew, class);
                if !ruin.by_crew.is_empty() {
                    return Around::Class(class);
                }
            }
        }
        1 => {
            let crew = scope.any_crew(rng);
            if (1..=30).contains(&state.routes[crew].visits.len()) {
                ruin.whole_day(state, crew);
                return Around::Day;
            }
        }
        _ => {}
    }
    let open = &scope.jobs;
    let seed = open[rng.random_range(0..open.len())];
    ruin.strings(state, scope, seed, schedule.extent, rng);
    Around::Job(seed)
}

/// Moves some of the bank into the jobs to be put back: mostly neighbours of the job around
/// which there is room now, and a few from anywhere.
fn draw_from_bank(
    state: &mut State,
    jobs: &mut Vec<JobIx>,
    most: usize,
    around: Around,
    rng: &mut Xoshiro256PlusPlus,
) {
    for _ in 0..most.min(state.bank.len()) {
        let near = match around {
            Around::Job(seed) if rng.random_range(0..4) > 0 => banked_near(state, seed, rng),
            _ => None,
        };
        let at = near.unwrap_or_else(|| rng.random_range(0..state.bank.len()));
        let job = state.bank.swap_remove(at);
        state.cost -= state.model.penalties[job.ix()];
        jobs.push(job);
    }
}

/// Moves up to `most` jobs of the bank that the class can serve to the front of those to be put back.
fn put_forward(
    state: &mut State,
    jobs: &mut Vec<JobIx>,
    most: usize,
    class: Class,
    rng: &mut Xoshiro256PlusPlus,
) {
    let count = state.bank.len();
    if count == 0 {
        return;
    }
    let first = rng.random_range(0..count);
    let mut claims: Vec<usize> = (first..count)
        .chain(0..first)
        .filter(|at| state.model.relevant[state.bank[*at].ix()].has(class))
        .take(most)
        .collect();
    claims.sort_unstable();
    for at in claims.into_iter().rev() {
        let job = state.bank.swap_remove(at);
        state.cost -= state.model.penalties[job.ix()];
        jobs.insert(0, job);
    }
}

/// Position in the bank of a job near the seed, or of the seed itself.
fn banked_near(state: &State, seed: JobIx, rng: &mut Xoshiro256PlusPlus) -> Option<usize> {
    let near = &state.model.neighbours[seed.ix()];
    let reach = near.len().min(BANK_REACH);
    let skip = rng.random_range(0..=reach);
    std::iter::once(&seed)
        .chain(near.iter().take(reach))
        .skip(skip)
        .find_map(|job| {
            let left_out = state.route_of[job.ix()].is_none();
            left_out
                .then(|| state.bank.iter().position(|banked| banked == job))
                .flatten()
        })
}
