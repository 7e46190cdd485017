//! One iteration of the search: take some jobs out, put them back, keep the result unless it is much dearer.
//!
//! How much dearer it may be falls as the search goes on: Dueck and Scheuer, "Threshold Accepting", Journal of
//! Computational Physics 90(1), 1990 (from memory). It is known beforehand what the plan may cost, so an iteration that
//! cannot stay within that is given up halfway.

use rand::RngExt;
use rand_xoshiro::Xoshiro256PlusPlus;

use super::anneal::{Best, Schedule};
use super::arrange::{Attempt, meet};
use super::class_set::Class;
use super::compare;
use super::equip::{give_tool, offer};
use super::hand_on::Want;
use super::insertion::{Care, Inserter};
use super::meeting;
use super::recreate::{ANY_COST, Order, Refill, place};
use super::removal::remove;
use super::route::{Route, Visit};
use super::ruin::Ruin;
use super::scope::Scope;
use super::shares;
use super::state::State;
use super::stints::Stints;
use super::trade::{may_trade, trade_days, unload_unused};
use super::undo::Undo;
use crate::cost::Cost;
use crate::index::JobIx;
use crate::routing::Cancel;

/// Neighbours of a job from which the bank is drawn.
const BANK_REACH: usize = 20;

/// Up to so many jobs a problem is small.
const SMALL: usize = 16;
/// In small problems one in so many iterations looks closely; twice as many where crews may meet.
const LOOK_EVERY_SMALL: u32 = 6;

/// Where a unit may change hands on the road too, it does so in one attempt of so many.
const MEET: u32 = 3;

/// Which iterations look closely at one job with one crew, and have another crew part with a unit for it. They take
/// long, so where they bring nothing they become rare.
struct Looks {
    /// In problems that are not small: at the most often, and while nothing comes of it.
    bounds: (u32, u32),
    every: u32,
    next: u32,
    small: bool,
}

impl Looks {
    const fn new(any: bool, small: bool, meets: bool, bounds: (u32, u32)) -> Self {
        let every = match (any, small) {
            (false, _) => 0,
            (true, true) if meets => LOOK_EVERY_SMALL / 2,
            (true, true) => LOOK_EVERY_SMALL,
            (true, false) => bounds.0,
        };
        Self {
            bounds,
            every,
            next: every,
            small,
        }
    }

    const fn is_due(&mut self) -> bool {
        if self.every == 0 {
            return false;
        }
        self.next -= 1;
        self.next == 0
    }

    fn done(&mut self, better: bool) {
        if !self.small {
            let every = if better {
                self.every / 2
            } else {
                self.every + self.every / 8
            };
            self.every = every.clamp(self.bounds.0, self.bounds.1);
        }
        self.next = self.every;
    }
}

/// What iterations share: settings, and buffers that are used again.
pub(crate) struct Walk {
    schedule: Schedule,
    hot: f64,
    cold: f64,
    refill: Refill,
    ruin: Ruin,
    undo: Undo,
    scratch: Option<Route>,
    jobs: Vec<JobIx>,
    /// Whether units may go from crew to crew.
    shares: bool,
    /// Whether crews may meet for that.
    meets: bool,
    looks: Looks,
    /// The whole problem is so small that such iterations look closely at everything.
    small: bool,
    /// Days of crews that came up, where they are grouped anew now and then.
    stints: Option<Stints>,
}

impl Walk {
    /// For a plan whose planned jobs cost as much as they do now.
    pub(crate) fn new(state: &State, schedule: &Schedule) -> Self {
        let (hot, cold) = thresholds(state, schedule);
        let problem = state.model.problem;
        let shares = problem.shares_units();
        let several = problem.crews().iter().any(|crew| crew.calls_max > 1);
        let small = state.model.open_jobs.len() <= SMALL;
        Self {
            schedule: *schedule,
            hot,
            cold,
            refill: Refill::new(schedule.care),
            ruin: Ruin::default(),
            undo: Undo::default(),
            scratch: None,
            jobs: Vec::new(),
            shares,
            meets: problem.plans_meetings(),
            looks: Looks::new(
                shares || several,
                small,
                problem.plans_meetings(),
                schedule.looks_every,
            ),
            small,
            stints: if schedule.regroups {
                Stints::new(state.model)
            } else {
                None
            },
        }
    }

    /// Groups the days that came up anew, where that is cheaper than the best plan. Whether it is.
    pub(super) fn regroup(&mut self, state: &mut State, best: &Best, cancel: &Cancel) -> bool {
        let stints = self.stints.as_mut();
        stints.is_some_and(|stints| stints.regroup(state, best, cancel))
    }

    /// Whether the whole problem is small.
    pub(crate) const fn is_small(&self) -> bool {
        self.small
    }

    /// For one of several threads that work on copies of a plan: what units change hands stays as it is.
    pub(crate) fn without_sharing(mut self) -> Self {
        self.shares = false;
        self.meets = false;
        self
    }

    /// Makes one iteration among the crews and jobs of the scope, with so much of the budget spent.
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
        // A threshold may be drawn as large as can be.
        let most = Cost(before.0.saturating_add(self.threshold(spent, rng).0));
        let (schedule, jobs, undo) = (&self.schedule, &mut self.jobs, &mut self.undo);
        undo.begin(state);
        compare::begin();
        jobs.clear();
        let met_before = meeting::any(state);
        if met_before && self.shares {
            meeting::put_off(state, scope, undo, &mut self.scratch, rng);
        }
        let look = self.looks.is_due();
        let want = if look {
            let (inserter, scratch) = (&mut self.refill.inserter, &mut self.scratch);
            draw_want(state, scope, self.meets, inserter, undo, scratch, jobs, rng)
        } else {
            None
        };
        let met = match want {
            Some(want) if self.meets && draws_meeting(state, &want, rng) => {
                meet(&want, state, undo, jobs, rng)
            }
            _ => Attempt::Nothing,
        };
        if met == Attempt::Broken {
            self.looks.done(false);
            undo.restore(state, before);
            return false;
        }
        let parted = want.filter(|_| self.shares).filter(|want| {
            met == Attempt::Meets || want.part(state, undo, &mut self.scratch, jobs, rng)
        });
        let equips = !look
            && schedule.equips_permille > 0
            && rng.random_range(0..1_000) < schedule.equips_permille;
        let mut equipped = None;
        let around = if let Some(want) = parted {
            Around::Job(want.job)
        } else if let Some(pair) = draw_trade(state, scope, schedule, focus, rng) {
            for crew in pair {
                undo.save(state, crew);
            }
            let (inserter, scratch) = (&mut self.refill.inserter, &mut self.scratch);
            trade_days(state, pair, inserter, rng, scratch, jobs);
            Around::Day
        } else if equips {
            let crew = draw_equipped(state, scope, focus, rng);
            let around = choose_beside(state, scope, crew, &mut self.ruin, schedule, rng);
            take_out(state, &mut self.ruin, undo, &mut self.scratch, jobs);
            let scratch = &mut self.scratch;
            if give_tool(state, scope, crew, self.shares, undo, scratch, jobs, rng) {
                equipped = Some(crew);
                if jobs.is_empty() || rng.random_range(0..2) == 0 {
                    offer(state, crew, &mut self.refill.inserter, rng);
                }
            } else if jobs.is_empty() {
                undo.restore(state, before);
                return false;
            }
            around
        } else {
            let around = choose(state, scope, &mut self.ruin, schedule, focus, rng);
            take_out(state, &mut self.ruin, undo, &mut self.scratch, jobs);
            around
        };
        draw_from_bank(state, jobs, schedule, around, rng);
        draw_order(schedule, rng).sort(state, jobs, rng);
        if let Around::Class(class) = around {
            // Those that were left out for want of it come first, or its holder takes it again.
            put_forward(state, jobs, schedule.claims_max, class, rng);
        }
        if let Some(want) = &want {
            // The taker comes first.
            self.refill.inserter.set_care(schedule.care.close());
            if !place_with(state, want, &mut self.refill.inserter, undo, rng) {
                jobs.insert(0, want.job);
            }
            if !self.small {
                self.refill.inserter.set_care(schedule.care);
            }
        }
        // Crews that give up what no one takes over may make the plan cheaper afterwards.
        let settles = self.shares && !state.shares.is_empty();
        let limit = if settles { ANY_COST } else { most };
        let whole = self
            .refill
            .recreate(state, scope, jobs, limit, rng, &mut |state, crew| {
                undo.save(state, crew);
            });
        self.refill.inserter.set_care(schedule.care);
        if let (true, Some(crew)) = (whole, equipped) {
            unload_unused(state, crew, &mut self.scratch);
        }
        let settled = !settles || shares::settle(state, scope, undo, &mut self.scratch, rng);
        let kept = whole && settled && state.cost <= most && meeting::sound(state, met_before);
        if look {
            self.looks.done(kept && state.cost < before);
        }
        self.end(state, before, kept);
        kept
    }

    /// Notes the days that an iteration came to, and takes it back unless it is kept.
    fn end(&mut self, state: &mut State, before: Cost, kept: bool) {
        if let Some(stints) = &mut self.stints {
            for crew in self.undo.changed(state) {
                stints.note(state, crew);
            }
        }
        if kept {
            compare::keep();
            state.assert_consistent();
        } else {
            self.undo.restore(state, before);
        }
    }

    /// What an iteration may make the plan dearer by, with so much of the budget spent.
    ///
    /// In a small problem so few plans lie within a fixed distance that the search would go round among them: there the
    /// distance is drawn each time, as in simulated annealing.
    #[expect(
        clippy::cast_possible_truncation,
        reason = "a part of what a plan costs, which fits by far"
    )]
    fn threshold(&self, spent: f64, rng: &mut Xoshiro256PlusPlus) -> Cost {
        let mean = self.hot * (self.cold / self.hot).powf(spent);
        let drawn = if self.small {
            let chance: f64 = rng.random();
            -chance.max(f64::MIN_POSITIVE).ln()
        } else {
            1.0
        };
        Cost((mean * drawn) as i64)
    }
}

/// The first and the last threshold.
fn thresholds(state: &State, schedule: &Schedule) -> (f64, f64) {
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

/// Draws who wants a unit that another crew has, and takes the job out that it is wanted for.
#[expect(
    clippy::too_many_arguments,
    reason = "the search's context, passed on by one caller"
)]
fn draw_want(
    state: &mut State,
    scope: &Scope,
    meets: bool,
    inserter: &mut Inserter,
    undo: &mut Undo,
    scratch: &mut Option<Route>,
    jobs: &mut Vec<JobIx>,
    rng: &mut Xoshiro256PlusPlus,
) -> Option<Want> {
    if meets {
        let (job, taker) = Want::draw_pair(state, scope, rng)?;
        if !lift(state, scope, job, undo, scratch, jobs) {
            return None;
        }
        // What changed hands for the job alone may now change hands in another way.
        if !shares::settle(state, scope, undo, scratch, rng) {
            jobs.push(job);
            return None;
        }
        if rng.random_range(0..2) == 0 {
            serve_another(state, scope, taker, inserter, undo, rng);
        }
        return Some(Want::of(state, scope, job, taker, rng));
    }
    let want = Want::draw(state, scope, rng)?;
    lift(state, scope, want.job, undo, scratch, jobs).then_some(want)
}

/// Another crew takes up one of the jobs left out: it may have to have a tool first to give it away afterwards.
fn serve_another(
    state: &mut State,
    scope: &Scope,
    taker: usize,
    inserter: &mut Inserter,
    undo: &mut Undo,
    rng: &mut Xoshiro256PlusPlus,
) {
    let crew = scope.any_crew(rng);
    if crew == taker || state.bank.is_empty() {
        return;
    }
    let job = state.take_from_bank(rng.random_range(0..state.bank.len()));
    let care = inserter.set_care(Care::FULL.close());
    let mut save = |state: &State, crew| undo.save(state, crew);
    if !place(state, job, inserter, &[crew], rng, &mut save) {
        state.leave_out(job);
    }
    inserter.set_care(care);
}

/// Takes a job out of its day, or from those left out. Others that cannot stay for that are added to `jobs`.
fn lift(
    state: &mut State,
    scope: &Scope,
    job: JobIx,
    undo: &mut Undo,
    scratch: &mut Option<Route>,
    jobs: &mut Vec<JobIx>,
) -> bool {
    let Some(crew) = state.route_of[job.ix()] else {
        return state.take_left_out(job);
    };
    if !scope.has(crew) {
        return false;
    }
    undo.save(state, crew);
    jobs.push(job);
    remove(state, crew, jobs, scratch);
    jobs.retain(|out| *out != job);
    true
}

/// Whether crews shall meet this time: always where the taker can have it in no other way, otherwise now and then.
fn draws_meeting(state: &State, want: &Want, rng: &mut Xoshiro256PlusPlus) -> bool {
    !want.is_within_reach(state) || rng.random_range(0..MEET) == 0
}

/// Puts the job into the day of the crew that is wanted for it, if it can be.
fn place_with(
    state: &mut State,
    want: &Want,
    inserter: &mut Inserter,
    undo: &mut Undo,
    rng: &mut Xoshiro256PlusPlus,
) -> bool {
    let mut save = |state: &State, crew| undo.save(state, crew);
    place(state, want.job, inserter, &[want.taker], rng, &mut save)
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
    let (classes, days) = (schedule.classes_permille, schedule.days_permille);
    let drawn = rng.random_range(0..1_000);
    if drawn < classes {
        let crew = scope.any_crew(rng);
        let classes: Vec<Class> = state.routes[crew].legs[0].set.iter().collect();
        if !classes.is_empty() {
            let class = classes[rng.random_range(0..classes.len())];
            ruin.class_users(state, crew, class);
            if !ruin.by_crew.is_empty() {
                return Around::Class(class);
            }
        }
    } else if drawn < classes + days {
        let crew = scope.any_crew(rng);
        if (1..=30).contains(&state.routes[crew].visits.len()) {
            ruin.whole_day(state, crew);
            return Around::Day;
        }
    }
    let open = &scope.jobs;
    let seed = open[rng.random_range(0..open.len())];
    ruin.strings(state, scope, seed, schedule.extent, rng);
    Around::Job(seed)
}

/// Which crew gets a tool: half of the time one that did a job in focus before.
fn draw_equipped(
    state: &State,
    scope: &Scope,
    focus: &[JobIx],
    rng: &mut Xoshiro256PlusPlus,
) -> usize {
    if !focus.is_empty() && rng.random_range(0..2) == 0 {
        let job = focus[rng.random_range(0..focus.len())];
        let before = state.model.problem.job(job).previous;
        let crew = before.map(|before| before.crew.ix());
        if let Some(crew) = crew.filter(|crew| *crew < state.routes.len() && scope.has(*crew)) {
            return crew;
        }
    }
    scope.any_crew(rng)
}

/// Chooses what to take out around one of a crew's stops, or nothing.
fn choose_beside(
    state: &State,
    scope: &Scope,
    crew: usize,
    ruin: &mut Ruin,
    schedule: &Schedule,
    rng: &mut Xoshiro256PlusPlus,
) -> Around {
    let visits = &state.routes[crew].visits;
    if !visits.is_empty()
        && rng.random_range(0..2) == 0
        && let Visit::Job(seed) = visits[rng.random_range(0..visits.len())]
    {
        ruin.strings(state, scope, seed, schedule.extent, rng);
        return Around::Job(seed);
    }
    ruin.clear();
    Around::Day
}

/// Takes out what was chosen.
fn take_out(
    state: &mut State,
    ruin: &mut Ruin,
    undo: &mut Undo,
    scratch: &mut Option<Route>,
    jobs: &mut Vec<JobIx>,
) {
    for (crew, list) in &mut ruin.by_crew {
        undo.save(state, *crew);
        remove(state, *crew, list, scratch);
        jobs.extend(list.iter().copied());
    }
}

/// Moves some of the bank into the jobs to be put back: mostly neighbours of the job around
/// which there is room now, and a few from anywhere.
fn draw_from_bank(
    state: &mut State,
    jobs: &mut Vec<JobIx>,
    schedule: &Schedule,
    around: Around,
    rng: &mut Xoshiro256PlusPlus,
) {
    for _ in 0..schedule.bank_max.min(state.bank.len()) {
        let near = match around {
            Around::Job(seed) if rng.random_range(0..4) > 0 => {
                let drawn = (0..schedule.bank_draws).filter_map(|_| banked_near(state, seed, rng));
                drawn.max_by_key(|at| state.model.worth(state.bank[*at]))
            }
            _ => None,
        };
        let at = near.unwrap_or_else(|| rng.random_range(0..state.bank.len()));
        jobs.push(state.take_from_bank(at));
    }
}

/// Draws an order in which jobs are put back.
fn draw_order(schedule: &Schedule, rng: &mut Xoshiro256PlusPlus) -> Order {
    let percent = schedule.worth_first_percent;
    if percent > 0 && rng.random_range(0..100) < percent {
        Order::WorthFirst
    } else {
        Order::draw(rng)
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
        jobs.insert(0, state.take_from_bank(at));
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
