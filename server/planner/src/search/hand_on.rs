//! One crew parts with a unit for a part of its day, so that another may have it then.
//!
//! A crew gives a unit up early, on a call at the unit's yard or at the end of its day, or takes it late, on a call or at
//! the start of its day. Its stops that need the unit at other times are taken out. Whoever wants the other half of the
//! unit finds it free at the yard.

use rand::RngExt;
use rand_xoshiro::Xoshiro256PlusPlus;

use super::class_set::{Class, ClassSet};
use super::load_out::{self, Swap};
use super::model::Choice;
use super::route::{LEGS_MAX, Route, Visit};
use super::scope::Scope;
use super::shares::{Share, call_times, put_down_at};
use super::state::State;
use super::undo::Undo;
use crate::Seconds;
use crate::index::{JobIx, UnitIx};

/// Stops more that are let go when a day gets too long by the call.
const SPARE: usize = 3;

/// Most units that are wanted at once: those of two tools.
const HELD_MAX: usize = 4;

/// A job, a crew that could do it, and what it lacks for that.
#[derive(Debug, Clone, Copy)]
pub(super) struct Want {
    pub(super) job: JobIx,
    pub(super) taker: usize,
    /// Units it lacks, and who has them.
    held: [Option<Held>; HELD_MAX],
}

#[derive(Debug, Clone, Copy)]
struct Held {
    giver: usize,
    unit: UnitIx,
}

impl Want {
    /// Draws a job, mostly one that is left out, a crew that could do it, and, where units are shared, a class it lacks
    /// for that and another crew that has a unit of it.
    pub(super) fn draw(state: &State, scope: &Scope, rng: &mut Xoshiro256PlusPlus) -> Option<Self> {
        let (job, taker) = Self::draw_pair(state, scope, rng)?;
        if state.model.problem.shares_units() {
            return Some(Self::of(state, scope, job, taker, rng));
        }
        Some(Self {
            job,
            taker,
            held: [None; HELD_MAX],
        })
    }

    /// Draws the job and the crew alone.
    pub(super) fn draw_pair(
        state: &State,
        scope: &Scope,
        rng: &mut Xoshiro256PlusPlus,
    ) -> Option<(JobIx, usize)> {
        let model = state.model;
        let from = if !state.bank.is_empty() && rng.random_range(0..4) > 0 {
            &state.bank
        } else {
            &scope.jobs
        };
        let job = from[rng.random_range(0..from.len())];
        let taker = scope.any_crew(rng);
        model.eligible(job, taker).then_some((job, taker))
    }

    /// The same for a crew and a job that are drawn already, where units are shared.
    pub(super) fn of(
        state: &State,
        scope: &Scope,
        job: JobIx,
        taker: usize,
        rng: &mut Xoshiro256PlusPlus,
    ) -> Self {
        Self {
            job,
            taker,
            held: draw_held(state, scope, job, taker, rng),
        }
    }

    /// Makes the other crews part with the units for a part of their days. Their stops that they can no longer do are added
    /// to `jobs`. Returns whether that is possible with any; if not, nothing has changed.
    pub(super) fn part(
        &self,
        state: &mut State,
        undo: &mut Undo,
        scratch: &mut Option<Route>,
        jobs: &mut Vec<JobIx>,
        rng: &mut Xoshiro256PlusPlus,
    ) -> bool {
        let mut parted = false;
        for held in self.held.iter().flatten() {
            parted |= held.part(state, undo, scratch, jobs, rng);
        }
        parted
    }

    /// A crew that has units which are wanted, and those that it has.
    pub(super) fn of_one_giver(&self) -> Option<(usize, Vec<UnitIx>)> {
        let giver = self.held.iter().flatten().next()?.giver;
        let held = self.held.iter().flatten();
        let its = held.filter(|held| held.giver == giver);
        Some((giver, its.map(|held| held.unit).collect()))
    }

    /// Whether the visit is a stop of the first such crew that is done with one of the units.
    pub(super) fn used_at(&self, state: &State, route: &Route, position: usize) -> bool {
        let mut held = self.held.iter().flatten().peekable();
        let giver = held.peek().map(|held| held.giver);
        held.any(|held| Some(held.giver) == giver && held.used_at(state, route, position))
    }

    /// Whether the taker can fetch all of it at yards.
    pub(super) fn is_within_reach(&self, state: &State) -> bool {
        let mut held = self.held.iter().flatten();
        held.all(|held| is_within_reach(state, self.taker, held.unit))
    }
}

/// Draws a tool that the crew lacks for the job, and for what of it other crews have all day, a unit and its holder. An
/// attachment and a powerhead are of no use one without the other. Where crews may meet, one may bring what several tasks
/// ask for.
fn draw_held(
    state: &State,
    scope: &Scope,
    job: JobIx,
    taker: usize,
    rng: &mut Xoshiro256PlusPlus,
) -> [Option<Held>; HELD_MAX] {
    let mut aboard = ClassSet::EMPTY;
    for leg in &state.routes[taker].legs {
        aboard.add(&leg.set);
    }
    let before = aboard;
    let lacks = |tool: &&Choice| !(before.has(tool.first) && before.has(tool.second));
    let tasks = || state.model.tasks(job, taker);
    let (mut held, mut next) = ([None; HELD_MAX], 0);
    let mut draw = |lacking: Vec<&Choice>, rng: &mut Xoshiro256PlusPlus| {
        if lacking.is_empty() {
            return;
        }
        let tool = lacking[rng.random_range(0..lacking.len())];
        for class in [tool.first, tool.second] {
            if next < HELD_MAX && !aboard.has(class) {
                aboard.insert(class);
                held[next] = draw_holder(state, scope, class, taker, rng);
                next += 1;
            }
        }
    };
    draw(tasks().flatten().filter(lacks).collect(), rng);
    if state.model.problem.plans_meetings() && rng.random_range(0..2) == 0 {
        for choices in tasks().filter(|choices| choices.iter().all(|tool| lacks(&tool))) {
            draw(choices.iter().filter(lacks).collect(), rng);
        }
    }
    held
}

/// Draws another crew that has a unit of the class all day. Where crews do not meet, the taker can fetch it at its yard.
fn draw_holder(
    state: &State,
    scope: &Scope,
    class: Class,
    taker: usize,
    rng: &mut Xoshiro256PlusPlus,
) -> Option<Held> {
    let model = state.model;
    let day = model.crews[taker].day;
    let meets = model.problem.plans_meetings();
    let within_reach = |unit: &UnitIx| meets || is_within_reach(state, taker, *unit);
    let holders: Vec<(UnitIx, usize)> = model.units_of_class[usize::from(class)]
        .iter()
        .filter(|unit| within_reach(unit) && state.handed_on(taker, **unit).is_none())
        .filter_map(|unit| {
            let holder = state.holder_of(day, *unit);
            let bearer = || {
                meets
                    .then(|| draw_bearer(state, scope, day, *unit, rng))
                    .flatten()
            };
            Some((*unit, holder.or_else(bearer)?))
        })
        .filter(|(_, crew)| *crew < state.routes.len() && *crew != taker && scope.has(*crew))
        .collect();
    if holders.is_empty() {
        return None;
    }
    let (unit, giver) = holders[rng.random_range(0..holders.len())];
    Some(Held { giver, unit })
}

/// Draws a crew that could load the unit in the morning and bring it to another.
fn draw_bearer(
    state: &State,
    scope: &Scope,
    day: usize,
    unit: UnitIx,
    rng: &mut Xoshiro256PlusPlus,
) -> Option<usize> {
    let crew = scope.any_crew(rng);
    let at_hand = state.model.crews[crew].day == day
        && load_out::is_open(state.model, crew, 0)
        && state.model.crews[crew].from == state.model.unit(unit).home;
    at_hand.then_some(crew)
}

/// Whether the crew can fetch the unit at its yard.
fn is_within_reach(state: &State, crew: usize, unit: UnitIx) -> bool {
    let (home, team) = (state.model.unit(unit).home, state.model.crew(crew));
    team.yard_at(home).is_some() || (!state.model.crews[crew].under_way && team.start == home)
}

impl Held {
    fn part(
        &self,
        state: &mut State,
        undo: &mut Undo,
        scratch: &mut Option<Route>,
        jobs: &mut Vec<JobIx>,
        rng: &mut Xoshiro256PlusPlus,
    ) -> bool {
        let share = Share {
            day: state.model.crews[self.giver].day,
            unit: self.unit,
            at: Seconds::MAX / 4,
            meet: None,
        };
        let route = state.routes[self.giver].copied_to(scratch);
        let mut gone = Vec::new();
        state.begin_share(0, share);
        let at = if rng.random_range(0..2) == 0 {
            self.give_early(state, route, &mut gone, rng)
        } else {
            self.take_late(state, route, &mut gone, rng)
        };
        let Some(at) = at else {
            state.end_share(0);
            return false;
        };
        state.shares[0].at = at;
        let clock = state.clock(self.giver);
        let halves = [0, 1].map(|half| state.model.half(self.unit, half));
        let class = load_out::class_of(state.model, self.unit);
        let still_used = (0..route.visits.len()).any(|at| {
            let units = &route.legs[route.leg_at(at)].units;
            route.services[at].uses.has(class) && halves.iter().any(|half| units.contains(half))
        });
        // One that is out with it may well bring it to the yard for nothing else.
        let has_it =
            state.model.crews[self.giver].under_way && route.legs[0].units.contains(&self.unit);
        if !(still_used || has_it)
            || !load_out::redue(state, self.giver, &mut route.legs)
            || route.evaluate(&clock).is_err()
        {
            state.end_share(0);
            return false;
        }
        undo.save(state, self.giver);
        state.let_go(&gone, jobs);
        state.put(self.giver, route);
        true
    }

    /// The giver puts the unit down for good before some visit, or when it is back. Returns when.
    fn give_early(
        &self,
        state: &State,
        route: &mut Route,
        gone: &mut Vec<JobIx>,
        rng: &mut Xoshiro256PlusPlus,
    ) -> Option<Seconds> {
        let count = route.visits.len();
        let last = (0..count).rev().find(|at| self.used_at(state, route, *at));
        let position = match last {
            Some(last) if rng.random_range(0..2) == 0 => last + 1,
            _ => rng.random_range(0..=count),
        };
        let leg = leg_before(route, position);
        if !route.legs[leg].units.contains(&self.unit) {
            return None;
        }
        self.let_go(state, route, position, count, gone);
        let giver = self.giver;
        let home = state.model.unit(self.unit).home;
        let over = route.visits[position..].iter().all(|visit| visit.is_call());
        if over && state.model.crews[giver].end == home {
            if !hands_on_after(state, giver, route, leg) {
                while route.legs.len() > leg + 1 {
                    route.remove_call(leg + 1);
                }
            }
        } else if !self.calls_here(state, route, position) {
            let yard = self.yard(state, route)?;
            route.insert_call(position, yard);
        }
        let later = leg + 1..route.legs.len();
        let nothing = ClassSet::EMPTY;
        fit(state, giver, route, later, &nothing, gone, position)?;
        put_down_at(route, self.unit)
    }

    /// The giver takes the unit only before some visit, or at the start of its day if that is late. Returns when.
    fn take_late(
        &self,
        state: &mut State,
        route: &mut Route,
        gone: &mut Vec<JobIx>,
        rng: &mut Xoshiro256PlusPlus,
    ) -> Option<Seconds> {
        let count = route.visits.len();
        let first = (0..count).find(|at| self.used_at(state, route, *at))?;
        let position = match rng.random_range(0..3) {
            0 => 0,
            1 => first,
            _ => rng.random_range(0..=count),
        };
        let under_way = state.model.crews[self.giver].under_way;
        let aboard = route.legs[0].units.contains(&self.unit);
        if under_way && aboard {
            return None;
        }
        let second = state.model.half(self.unit, 1);
        let ready_at = state.model.crews[self.giver].ready_at;
        state.shares[0].at = ready_at;
        let fetched = route
            .legs
            .iter()
            .position(|leg| leg.units.contains(&self.unit))?;
        let new = if (position == 0 && aboard) || (!aboard && rng.random_range(0..2) == 0) {
            // It takes the unit as before, and whoever has it before that must have put it down by then.
            fetched
        } else {
            let before = self.let_go(state, route, 0, position, gone);
            let position = position - before;
            let leg = leg_before(route, position);
            if !self.calls_here(state, route, position) {
                let yard = self.yard(state, route)?;
                route.insert_call(position, yard);
            }
            leg + 1
        };
        for (leg, after) in route.legs.iter_mut().enumerate() {
            if leg >= new {
                for unit in &mut after.units {
                    if *unit == self.unit {
                        *unit = second;
                    }
                }
                after.units.sort_unstable();
            }
        }
        if !route.legs[new].units.contains(&second) {
            return None;
        }
        let (nothing, all) = (ClassSet::EMPTY, route.visits.len());
        fit(state, self.giver, route, 0..new, &nothing, gone, all)?;
        if new == 0 {
            return Some(ready_at);
        }
        let call = route.calls.at(new - 1)?;
        Some(call_times(&state.clock(self.giver), route, call)?.start)
    }

    /// Whether the visit is a stop that is done with the unit.
    fn used_at(&self, state: &State, route: &Route, position: usize) -> bool {
        let class = load_out::class_of(state.model, self.unit);
        matches!(route.visits[position], Visit::Job(_))
            && route.services[position].uses.has(class)
            && route.legs[route.leg_at(position)]
                .units
                .contains(&self.unit)
    }

    /// Takes the stops done with the unit out of a stretch of the day. Returns how many.
    fn let_go(
        &self,
        state: &State,
        route: &mut Route,
        from: usize,
        to: usize,
        gone: &mut Vec<JobIx>,
    ) -> usize {
        let before = gone.len();
        for position in (from..to).rev() {
            if self.used_at(state, route, position)
                && let Visit::Job(job) = route.remove(position)
            {
                gone.push(job);
            }
        }
        gone.len() - before
    }

    /// Whether a call at the unit's yard stands at the position already.
    fn calls_here(&self, state: &State, route: &Route, position: usize) -> bool {
        let home = state.model.unit(self.unit).home;
        let clock = state.clock(self.giver);
        let there = route.visits.get(position);
        there.is_some_and(|visit| visit.is_call() && route.place(&clock, position) == home)
    }

    /// The yard of the unit in the giver's list, if the giver may make one more call.
    fn yard(&self, state: &State, route: &Route) -> Option<u8> {
        let crew = state.model.crew(self.giver);
        let home = state.model.unit(self.unit).home;
        if route.calls.len() >= usize::from(crew.calls_max) {
            return None;
        }
        let yards = &crew.yard_calls;
        let yard = yards.iter().position(|call| call.place == home)?;
        u8::try_from(yard).ok()
    }
}

/// Makes the legs of a crew match what is used in them, the first of them with `more` beside, and evaluates. Stops after
/// `spare_from` go if the day has become too long.
pub(super) fn fit(
    state: &State,
    crew: usize,
    route: &mut Route,
    legs: std::ops::Range<usize>,
    more: &ClassSet,
    gone: &mut Vec<JobIx>,
    spare_from: usize,
) -> Option<()> {
    let (model, clock) = (state.model, state.clock(crew));
    for _ in 0..=SPARE {
        let mut used: [ClassSet; LEGS_MAX] = route.serve(model, crew).ok()?;
        let count = route.legs.len();
        if let Some(first) = used.get_mut(legs.start) {
            first.add(more);
        }
        load_out::carry_back(state, crew, &route.legs, &mut used[..count]);
        for leg in legs.clone() {
            let open = load_out::is_open(model, crew, leg);
            let wanted = &used[leg];
            let keep = Swap::Keep;
            if open && !load_out::refit(state, crew, &mut route.legs, leg, wanted, keep) {
                return None;
            }
        }
        route.serve(model, crew).ok()?;
        let sound = load_out::redue(state, crew, &mut route.legs);
        if sound && route.evaluate(&clock).is_ok() {
            return Some(());
        }
        let last = route.visits.iter().rposition(|visit| !visit.is_call())?;
        if last < spare_from {
            return None;
        }
        if let Visit::Job(job) = route.remove(last) {
            gone.push(job);
        }
    }
    None
}

/// Whether the giver puts something else down at a later call that another crew takes then.
fn hands_on_after(state: &State, giver: usize, route: &Route, leg: usize) -> bool {
    route.legs[leg..].windows(2).any(|pair| {
        let mut put_down = pair[0].units.iter();
        put_down
            .any(|unit| !pair[1].units.contains(unit) && state.handed_on(giver, *unit).is_some())
    })
}

/// The leg of the stretch before a position.
pub(super) fn leg_before(route: &Route, position: usize) -> usize {
    position
        .checked_sub(1)
        .map_or(0, |before| route.leg_at(before))
}
