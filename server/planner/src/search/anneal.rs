//! The search loop: take some jobs out, put them back better, keep the result by chance and temperature.

use rand::RngExt;
use rand_xoshiro::Xoshiro256PlusPlus;

use super::class_set::Class;
use super::insertion::{Care, Inserter};
use super::recreate::{CrewList, Order, recreate};
use super::removal::{remove, settle};
use super::route::Route;
use super::ruin::{Extent, Ruin};
use super::state::State;
use super::trade::{may_trade, trade_days};
use crate::cost::Cost;
use crate::index::JobIx;
use crate::routing::{Budget, Cancel};
use crate::solve::Progress;

/// Settings of the loop, found by measurement on generated branch days.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Schedule {
    /// First temperature, in thousandths of the mean cost of a planned job.
    pub(crate) hot_permille: f64,
    /// Last temperature, in the same measure.
    pub(crate) cold_permille: f64,
    pub(crate) extent: Extent,
    pub(crate) care: Care,
    /// Jobs of the bank that take part in one iteration at most.
    pub(crate) bank_max: usize,
    /// Jobs of the bank that come first when a crew gives a unit up.
    pub(crate) claims_max: usize,
    /// Iterations in a thousand in which two crews trade their days.
    pub(crate) trades_permille: u32,
}

impl Schedule {
    pub(crate) const STANDARD: Self = Self {
        hot_permille: 3_000.0,
        cold_permille: 50.0,
        extent: Extent {
            mean: 10,
            string_max: 8,
        },
        care: Care {
            blink: 80,
            better: 20,
            call: 40,
        },
        bank_max: 2,
        claims_max: 4,
        trades_permille: 50,
    };

    /// For a plan that is good already and should stay much as it is.
    pub(crate) const GENTLE: Self = Self {
        hot_permille: 100.0,
        cold_permille: 5.0,
        extent: Extent {
            mean: 6,
            string_max: 6,
        },
        ..Self::STANDARD
    };
}

/// The best plan seen.
struct Best {
    routes: Vec<Route>,
    bank: Vec<JobIx>,
    cost: Cost,
}

impl Best {
    fn take(&mut self, state: &State) {
        for (kept, route) in self.routes.iter_mut().zip(&state.routes) {
            if kept.version != route.version {
                kept.clone_from(route);
            }
        }
        self.bank.clone_from(&state.bank);
        self.cost = state.cost;
    }
}

/// Routes as they were before the iteration.
#[derive(Default)]
struct Undo {
    saved: Vec<(usize, Route)>,
    spare: Vec<Route>,
    bank: Vec<JobIx>,
}

impl Undo {
    fn begin(&mut self, state: &State) {
        self.spare
            .extend(self.saved.drain(..).map(|(_, route)| route));
        self.bank.clone_from(&state.bank);
    }

    fn save(&mut self, state: &State, crew: usize) {
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

    fn restore(&self, state: &mut State, cost: Cost) {
        for (crew, _) in &self.saved {
            state.release(*crew);
            state.forget_jobs(*crew);
        }
        for (crew, route) in &self.saved {
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

/// Fills the plan greedily from the bank.
pub(crate) fn construct(state: &mut State, cancel: &Cancel, rng: &mut Xoshiro256PlusPlus) {
    let mut inserter = Inserter::new(Care::FULL);
    let mut crews = CrewList::default();
    let mut jobs = std::mem::take(&mut state.bank);
    for job in &jobs {
        state.cost -= state.model.penalties[job.ix()];
    }
    Order::LongestFirst.sort(state, &mut jobs, rng);
    Order::DearestFirst.rank(state, &mut jobs);
    for (done, job) in jobs.iter().enumerate() {
        if cancel.is_raised() {
            for left in &jobs[done..] {
                state.bank.push(*left);
                state.cost += state.model.penalties[left.ix()];
            }
            return;
        }
        recreate(
            state,
            &[*job],
            &mut inserter,
            &mut crews,
            rng,
            &mut |_, _| {},
        );
    }
}

/// Improves the plan until the budget is spent or the search is cancelled. Returns the iterations made. Most of the
/// removals start at a job in `focus`, if there is one.
pub(crate) fn anneal(
    state: &mut State,
    budget: &dyn Budget,
    cancel: &Cancel,
    schedule: &Schedule,
    focus: &[JobIx],
    rng: &mut Xoshiro256PlusPlus,
    report: &mut dyn FnMut(&Progress),
) -> u64 {
    let mut best = Best {
        routes: state.routes.clone(),
        bank: state.bank.clone(),
        cost: state.cost,
    };
    let (hot, cold) = temperatures(state, schedule);
    let mut inserter = Inserter::new(schedule.care);
    let mut crews = CrewList::default();
    let mut ruin = Ruin::default();
    let mut undo = Undo::default();
    let mut scratch = None;
    let mut jobs: Vec<JobIx> = Vec::new();
    let mut iterations = 0;
    let mut reported = 0;
    while !cancel.is_raised() {
        let spent = budget.spent(iterations);
        if spent >= 1.0 || state.model.open_jobs.is_empty() {
            break;
        }
        iterations += 1;
        let before = state.cost;
        undo.begin(state);
        jobs.clear();
        let around = if let Some(pair) = draw_trade(state, schedule, focus, rng) {
            for crew in pair {
                undo.save(state, crew);
            }
            trade_days(state, pair, &mut inserter, rng, &mut scratch, &mut jobs);
            Around::Day
        } else {
            let around = choose(state, &mut ruin, schedule, focus, rng);
            for (crew, list) in &mut ruin.by_crew {
                undo.save(state, *crew);
                remove(state, *crew, list, &mut scratch);
                jobs.extend(list.iter().copied());
            }
            around
        };
        draw_from_bank(state, &mut jobs, schedule.bank_max, around, rng);
        Order::draw(rng).sort(state, &mut jobs, rng);
        if let Around::Class(class) = around {
            // Those that were left out for want of it come first, or its holder takes it again.
            put_forward(state, &mut jobs, schedule.claims_max, class, rng);
        }
        recreate(
            state,
            &jobs,
            &mut inserter,
            &mut crews,
            rng,
            &mut |state, crew| undo.save(state, crew),
        );
        let temperature = hot * (cold / hot).powf(spent);
        let chance: f64 = rng.random();
        let allowed = -chance.max(f64::MIN_POSITIVE).ln() * temperature;
        if (state.cost - before).0 as f64 <= allowed {
            state.assert_consistent();
            if state.cost < best.cost {
                best.take(state);
                if iterations >= reported + REPORT_EVERY {
                    reported = iterations;
                    report(&progress(iterations, spent, &best));
                }
            }
        } else {
            undo.restore(state, before);
        }
        if iterations >= reported + REPORT_EVERY * 20 {
            reported = iterations;
            report(&progress(iterations, spent, &best));
        }
    }
    state.replace(best.routes, best.bank);
    debug_assert!(state.cost == best.cost);
    state.assert_consistent();
    iterations
}

/// Puts in what still fits with profit when nothing is passed over, until nothing more does.
pub(crate) fn fill(state: &mut State, cancel: &Cancel, rng: &mut Xoshiro256PlusPlus) {
    let mut inserter = Inserter::new(Care::FULL);
    let mut crews = CrewList::default();
    loop {
        for crew in 0..state.routes.len() {
            // A call at the yard may have lost its use. It goes even if the wait it made was worth something.
            let mut route = state.routes[crew].clone();
            if route.call_at.is_some()
                && settle(state, crew, &mut route)
                && (route.call_at.is_none() || route.cost < state.routes[crew].cost)
            {
                state.put(crew, &route);
            }
        }
        let count = state.bank.len();
        for job in std::mem::take(&mut state.bank) {
            state.cost -= state.model.penalties[job.ix()];
            if cancel.is_raised() {
                state.cost += state.model.penalties[job.ix()];
                state.bank.push(job);
            } else {
                recreate(
                    state,
                    &[job],
                    &mut inserter,
                    &mut crews,
                    rng,
                    &mut |_, _| {},
                );
            }
        }
        if state.bank.len() == count {
            return;
        }
    }
}

const REPORT_EVERY: u64 = 100;

/// Neighbours of a job from which the bank is drawn.
const BANK_REACH: usize = 20;

fn progress(iterations: u64, spent: f64, best: &Best) -> Progress {
    Progress {
        iterations,
        spent,
        best_cost: best.cost,
        unplanned: best.bank.len(),
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
    schedule: &Schedule,
    focus: &[JobIx],
    rng: &mut Xoshiro256PlusPlus,
) -> Option<[usize; 2]> {
    if !focus.is_empty() || rng.random_range(0..1_000) >= schedule.trades_permille {
        return None;
    }
    let one = rng.random_range(0..state.routes.len());
    let other = rng.random_range(0..state.routes.len());
    may_trade(state, one, other).then_some([one, other])
}

/// Chooses what to take out.
fn choose(
    state: &State,
    ruin: &mut Ruin,
    schedule: &Schedule,
    focus: &[JobIx],
    rng: &mut Xoshiro256PlusPlus,
) -> Around {
    if !focus.is_empty() && rng.random_range(0..4) > 0 {
        let seed = focus[rng.random_range(0..focus.len())];
        ruin.strings(state, seed, schedule.extent, rng);
        return Around::Job(seed);
    }
    match rng.random_range(0..20) {
        0 => {
            let crew = rng.random_range(0..state.routes.len());
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
            let crew = rng.random_range(0..state.routes.len());
            if (1..=30).contains(&state.routes[crew].visits.len()) {
                ruin.whole_day(state, crew);
                return Around::Day;
            }
        }
        _ => {}
    }
    let open = &state.model.open_jobs;
    let seed = open[rng.random_range(0..open.len())];
    ruin.strings(state, seed, schedule.extent, rng);
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
