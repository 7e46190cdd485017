//! The search's plan: routes, the jobs left out, and who has which unit.

use super::class_set::Class;
use super::clock::Clock;
use super::load_out;
use super::model::Model;
use super::route::{Leg, Meet, Route, Visit};
use super::shares::Share;
use crate::Seconds;
use crate::cost::Cost;
use crate::index::{JobIx, PlaceIx, UnitIx};
use crate::problem::{Progress, Window};
use crate::rules::capability::Served;

const NOBODY: u32 = u32::MAX;
/// Holds units that are kept for another part of the plan.
const ELSEWHERE: u32 = u32::MAX - 1;
/// Holds second halves of units that do not change hands.
const NOT_THERE: u32 = u32::MAX - 2;

/// Where a crew takes units.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Spot {
    pub(crate) place: PlaceIx,
    /// The instant of the load at the start of a day. No instant for a call: it comes when it comes.
    pub(crate) at: Option<Seconds>,
    /// The meeting, where the crew takes them from another.
    pub(crate) meet: Option<Meet>,
}

impl Spot {
    /// A call at a yard.
    pub(crate) const fn yard(place: PlaceIx) -> Self {
        Self {
            place,
            at: None,
            meet: None,
        }
    }
}

/// A whole plan, mutable.
#[derive(Clone)]
pub(crate) struct State<'m> {
    pub(crate) model: &'m Model<'m>,
    pub(crate) routes: Vec<Route>,
    /// Route of each job.
    pub(crate) route_of: Vec<Option<usize>>,
    /// Jobs left out.
    pub(crate) bank: Vec<JobIx>,
    /// Jobs left out that the search leaves alone for now.
    pub(crate) aside: Vec<JobIx>,
    /// Units that change hands.
    pub(crate) shares: Vec<Share>,
    /// Who has a unit on a day: all units, and after them their second halves.
    holder: Vec<u32>,
    /// How many units of each class nobody has, day by day.
    free: Vec<u32>,
    pub(crate) cost: Cost,
    next_version: u64,
    /// Units of a crew whose day is being changed, as it had them.
    pub(crate) had: Vec<UnitIx>,
}

impl<'m> State<'m> {
    /// Nothing planned yet beyond what is frozen.
    pub(crate) fn new(model: &'m Model<'m>) -> Self {
        let mut state = Self {
            model,
            routes: Vec::with_capacity(model.crews.len()),
            route_of: vec![None; model.problem.jobs().len()],
            bank: model.open_jobs.clone(),
            aside: Vec::new(),
            shares: Vec::new(),
            holder: vec![NOBODY; model.problem.units().len() * 2 * model.days],
            free: Vec::new(),
            cost: model
                .open_jobs
                .iter()
                .map(|job| model.penalties[job.ix()])
                .sum(),
            next_version: 1,
            had: Vec::new(),
        };
        state.nobody_has_any();
        for crew in 0..model.crews.len() {
            let clock = Clock::new(model, crew);
            let leg = first_leg(&state, crew);
            let route = Route::new(&clock, leg);
            state.cost += Cost(route.cost);
            state.routes.push(route);
            state.hold(crew);
        }
        state
    }

    pub(crate) fn clock(&self, crew: usize) -> Clock<'m> {
        Clock::new(self.model, crew)
    }

    /// Notes that the crew has the units of its legs.
    pub(crate) fn hold(&mut self, crew: usize) {
        self.set_holder(crew, u32::try_from(crew).unwrap_or(NOBODY));
    }

    /// Gives the units of the crew's legs free that it has.
    pub(crate) fn release(&mut self, crew: usize) {
        self.set_holder(crew, NOBODY);
    }

    fn set_holder(&mut self, crew: usize, holder: u32) {
        for leg in 0..self.routes[crew].legs.len() {
            for at in 0..self.routes[crew].legs[leg].units.len() {
                self.set_unit(crew, self.routes[crew].legs[leg].units[at], holder);
            }
        }
    }

    fn set_unit(&mut self, crew: usize, unit: UnitIx, holder: u32) {
        let class = usize::from(load_out::class_of(self.model, unit));
        let (at, count) = self.places_of(crew, unit.ix(), class);
        let (was, mine) = (self.holder[at], u32::try_from(crew).unwrap_or(NOBODY));
        if was == holder || (holder == NOBODY && was != mine) {
            return;
        }
        debug_assert!(
            was == NOBODY || was == mine,
            "{unit:?} is taken from another crew"
        );
        if holder == NOBODY {
            self.free[count] += 1;
        } else {
            self.free[count] -= 1;
        }
        self.holder[at] = holder;
    }

    /// Gives the units in `had` free, and notes that the crew has those of its legs.
    pub(crate) fn hold_instead(&mut self, crew: usize) {
        let legs = &self.routes[crew].legs;
        if legs.len() == 1 && legs[0].units == self.had {
            return;
        }
        for at in 0..self.had.len() {
            self.set_unit(crew, self.had[at], NOBODY);
        }
        self.hold(crew);
    }

    /// Where the unit's holder and the count of its class stand for the crew's day.
    fn places_of(&self, crew: usize, unit: usize, class: usize) -> (usize, usize) {
        let day = self.model.crews[crew].day;
        (
            day * self.model.problem.units().len() * 2 + unit,
            day * self.model.units_of_class.len() + class,
        )
    }

    /// Lets go of everything. Second halves are there only of units that change hands.
    fn nobody_has_any(&mut self) {
        let units = self.model.problem.units().len();
        for on_day in self.holder.chunks_mut((units * 2).max(1)) {
            on_day[..units].fill(NOBODY);
            on_day[units..].fill(NOT_THERE);
        }
        for share in &self.shares {
            self.holder[share.day * units * 2 + units + share.unit.ix()] = NOBODY;
        }
        self.count_free();
    }

    fn count_free(&mut self) {
        let (units, model) = (self.model.problem.units().len(), self.model);
        self.free.clear();
        for on_day in self.holder.chunks(units.max(1) * 2).take(model.days) {
            for class in &model.units_of_class {
                let free = |half: usize| {
                    let nobody = |unit: &&UnitIx| on_day[half * units + unit.ix()] == NOBODY;
                    class.iter().filter(nobody).count()
                };
                let count = free(0) + free(1);
                self.free.push(u32::try_from(count).unwrap_or(u32::MAX));
            }
        }
        // Without any unit there is nothing to count.
        self.free.resize(model.days * model.units_of_class.len(), 0);
    }

    /// A unit changes hands from now on; so far nobody has its second half.
    pub(crate) fn begin_share(&mut self, index: usize, share: Share) {
        self.shares.insert(index, share);
        self.set_second_half(share, NOT_THERE, NOBODY);
    }

    /// A unit is whole again. Nobody may have its second half any more.
    pub(crate) fn end_share(&mut self, index: usize) {
        let share = self.shares.remove(index);
        self.set_second_half(share, NOBODY, NOT_THERE);
    }

    fn set_second_half(&mut self, share: Share, from: u32, to: u32) {
        let units = self.model.problem.units().len();
        let at = (share.day * 2 + 1) * units + share.unit.ix();
        debug_assert!(self.holder[at] == from);
        self.holder[at] = to;
        let class = self.model.problem.unit(share.unit).class.ix();
        let count = share.day * self.model.units_of_class.len() + class;
        if to == NOBODY {
            self.free[count] += 1;
        } else {
            self.free[count] -= 1;
        }
    }

    /// Puts back which units change hands, and when. Nobody may have halves that differ.
    pub(crate) fn restore_shares(&mut self, shares: &[Share]) {
        if self.shares.is_empty() && shares.is_empty() {
            return;
        }
        let same = |one: &Share, other: &Share| (one.day, one.unit) == (other.day, other.unit);
        for index in (0..self.shares.len()).rev() {
            let share = self.shares[index];
            if !shares.iter().any(|other| same(&share, other)) {
                self.end_share(index);
            }
        }
        for share in shares {
            if !self.shares.iter().any(|other| same(share, other)) {
                self.begin_share(0, *share);
            }
        }
        self.shares.clear();
        self.shares.extend_from_slice(shares);
    }

    /// Keeps a unit for a crew, if it is free.
    pub(crate) fn reserve(&mut self, crew: usize, unit: UnitIx) {
        if self.holder(crew, unit).is_none() {
            let class = usize::from(load_out::class_of(self.model, unit));
            let (at, count) = self.places_of(crew, unit.ix(), class);
            self.holder[at] = u32::try_from(crew).unwrap_or(NOBODY);
            self.free[count] -= 1;
        }
    }

    /// Keeps from this copy of the plan the free units for which `mine` does not hold; it is asked with each unit's place
    /// among the free ones of its class on that day.
    pub(crate) fn keep_away(&mut self, mine: impl Fn(usize) -> bool) {
        let units = self.model.problem.units().len();
        for on_day in self.holder.chunks_mut((units * 2).max(1)) {
            for of_class in &self.model.units_of_class {
                let halves = of_class.iter().map(|unit| unit.ix());
                let halves = halves.clone().chain(halves.map(|unit| unit + units));
                let free = halves.filter(|half| on_day[*half] == NOBODY).enumerate();
                let others: Vec<usize> = free
                    .filter(|(place, _)| !mine(*place))
                    .map(|(_, half)| half)
                    .collect();
                for half in others {
                    on_day[half] = ELSEWHERE;
                }
            }
        }
        self.count_free();
    }

    /// Notes anew who has what, from the routes.
    pub(crate) fn hold_again(&mut self) {
        self.nobody_has_any();
        for crew in 0..self.routes.len() {
            self.hold(crew);
        }
    }

    /// Who has the unit on the crew's day.
    pub(crate) fn holder(&self, crew: usize, unit: UnitIx) -> Option<usize> {
        self.holder_of(self.model.crews[crew].day, unit)
    }

    /// Who has the unit on a day.
    pub(crate) fn holder_of(&self, day: usize, unit: UnitIx) -> Option<usize> {
        let holder = self.holder[day * self.model.problem.units().len() * 2 + unit.ix()];
        (holder != NOBODY).then_some(holder as usize)
    }

    /// The instant at which the unit changes hands on the crew's day, if it does.
    pub(crate) fn handed_on(&self, crew: usize, unit: UnitIx) -> Option<Seconds> {
        if self.shares.is_empty() {
            return None;
        }
        Some(self.share_of(crew, unit)?.at)
    }

    /// The share of which the unit is a half on the crew's day, if it changes hands.
    fn share_of(&self, crew: usize, unit: UnitIx) -> Option<&Share> {
        let (day, unit) = (self.model.crews[crew].day, self.model.whole(unit));
        let mut shares = self.shares.iter();
        shares.find(|share| share.day == day && share.unit == unit)
    }

    /// Whether the crew can take the unit there: at its yard, or where the two crews meet of which it is the second.
    pub(crate) fn stands_at(&self, crew: usize, unit: UnitIx, spot: &Spot) -> bool {
        if !self.shares.is_empty()
            && self.model.whole(unit) != unit
            && let Some(meet) = self.share_of(crew, unit).and_then(|share| share.meet)
        {
            return spot.meet == Some(meet);
        }
        spot.meet.is_none() && self.model.unit(unit).home == spot.place
    }

    /// Whether the crew can put the unit down there: at its yard, or where the two crews meet of which it is the first.
    pub(crate) fn goes_down_at(&self, crew: usize, unit: UnitIx, spot: &Spot) -> bool {
        match self.given_at(crew, unit) {
            Some(meet) => spot.meet == Some(meet),
            None => spot.meet.is_none() && self.model.unit(unit).home == spot.place,
        }
    }

    /// The meeting at which the crew gives its half of the unit away, if it does.
    pub(crate) fn given_at(&self, crew: usize, unit: UnitIx) -> Option<Meet> {
        if self.shares.is_empty() || self.model.whole(unit) != unit {
            return None;
        }
        self.share_of(crew, unit)?.meet
    }

    /// A stretch of a unit's availability, as far as the crew may have it in its half.
    pub(crate) fn cut(&self, crew: usize, unit: UnitIx, window: &Window) -> Option<Window> {
        let mut cut = *window;
        if self.shares.is_empty() {
            return Some(cut);
        }
        if let Some(share) = self.share_of(crew, unit) {
            if unit.ix() < self.model.problem.units().len() {
                cut.close = cut.close.min(share.put_down_by());
            } else {
                cut.open = cut.open.max(share.at);
            }
        }
        (cut.open <= cut.close).then_some(cut)
    }

    /// The stretch in which a crew may have the unit from an instant on.
    #[inline]
    pub(crate) fn stretch_from(&self, crew: usize, unit: UnitIx, at: Seconds) -> Option<Window> {
        let mut windows = self.model.unit(unit).available.iter();
        let window = windows.find(|window| window.covers(at, at))?;
        if self.shares.is_empty() {
            return Some(*window);
        }
        self.cut(crew, unit, window)
            .filter(|window| window.covers(at, at))
    }

    /// The stretch in which a crew may have a unit that it loads at a call: the last of those in its day, or the first.
    pub(crate) fn stretch_at_call(&self, crew: usize, unit: UnitIx, early: bool) -> Option<Window> {
        let data = &self.model.crews[crew];
        let windows = self.model.unit(unit).available.iter();
        let mut in_day = windows
            .filter_map(|window| self.cut(crew, unit, window))
            .filter(|window| window.open < data.back_by && window.close > data.ready_at);
        if early {
            in_day.next()
        } else {
            in_day.next_back()
        }
    }

    /// Whether the crew has the other half of a unit that changes hands.
    fn has_other_half(&self, crew: usize, unit: UnitIx) -> bool {
        let whole = self.model.whole(unit);
        let other = self.model.half(whole, usize::from(unit == whole));
        self.holder(crew, other) == Some(crew)
    }

    /// Takes the job at a place in the bank out of it, to be put into a route.
    pub(crate) fn take_from_bank(&mut self, at: usize) -> JobIx {
        let job = self.bank.swap_remove(at);
        self.cost -= self.model.penalties[job.ix()];
        job
    }

    /// The same for a job by its number. Returns whether it was there.
    pub(crate) fn take_left_out(&mut self, job: JobIx) -> bool {
        let at = self.bank.iter().position(|banked| *banked == job);
        at.map(|at| self.take_from_bank(at)).is_some()
    }

    /// Notes that the jobs are in no route any more, and adds them to those to be put back.
    pub(crate) fn let_go(&mut self, gone: &[JobIx], jobs: &mut Vec<JobIx>) {
        for job in gone {
            self.route_of[job.ix()] = None;
        }
        jobs.extend(gone);
    }

    /// Leaves out a job that is in no route.
    pub(crate) fn leave_out(&mut self, job: JobIx) {
        self.bank.push(job);
        self.cost += self.model.penalties[job.ix()];
    }

    pub(crate) fn stamp(&mut self) -> u64 {
        self.next_version += 1;
        self.next_version
    }

    /// A free unit of the class that stands at the spot, with the stretch in which it is available: one that covers
    /// `at` for a crew about to leave, the last one otherwise. The one that may stay out longest comes first, then the one that is there soonest.
    pub(crate) fn free_unit(
        &self,
        crew: usize,
        class: Class,
        spot: &Spot,
        early: bool,
    ) -> Option<(UnitIx, Seconds, Seconds)> {
        if self.free[self.places_of(crew, 0, usize::from(class)).1] == 0 {
            return None;
        }
        let whole = self.model.units_of_class[usize::from(class)]
            .iter()
            .copied();
        let stretch = |unit| match spot.at {
            Some(at) => self.stretch_from(crew, unit, at),
            None => self.stretch_at_call(crew, unit, early),
        };
        if self.shares.is_empty() {
            return self.best_free(crew, spot, whole, stretch);
        }
        let day = self.model.crews[crew].day;
        let shared = self.shares.iter().filter(|share| {
            share.day == day && load_out::class_of(self.model, share.unit) == class
        });
        let seconds = shared.map(|share| self.model.half(share.unit, 1));
        let units = whole
            .chain(seconds)
            .filter(|unit| !self.has_other_half(crew, *unit));
        self.best_free(crew, spot, units, stretch)
    }

    /// The best of the units that nobody has and that stand at the spot.
    #[inline]
    fn best_free(
        &self,
        crew: usize,
        spot: &Spot,
        units: impl Iterator<Item = UnitIx>,
        stretch: impl Fn(UnitIx) -> Option<Window>,
    ) -> Option<(UnitIx, Seconds, Seconds)> {
        let mut best: Option<(UnitIx, Seconds, Seconds)> = None;
        let data = &self.model.crews[crew];
        for unit_ix in units {
            if self.holder(crew, unit_ix).is_some() || !self.stands_at(crew, unit_ix, spot) {
                continue;
            }
            let Some(window) = stretch(unit_ix) else {
                continue;
            };
            if best.is_none_or(|(_, from, due)| (due, -from) < (window.close, -window.open)) {
                best = Some((unit_ix, window.open, window.close));
                if window.close >= data.back_by && window.open <= data.ready_at {
                    break;
                }
            }
        }
        best
    }

    /// Sum of all routes and penalties, recomputed.
    pub(crate) fn full_cost(&self) -> Cost {
        let routes: Cost = self.routes.iter().map(|route| Cost(route.cost)).sum();
        let bank: Cost = self
            .bank
            .iter()
            .chain(&self.aside)
            .map(|job| self.model.penalties[job.ix()])
            .sum();
        routes + bank
    }

    /// Puts a changed route in place of the crew's present one, and keeps holders and cost true.
    pub(crate) fn put(&mut self, crew: usize, route: &Route) {
        self.release(crew);
        self.take_over(crew, route);
    }

    /// Puts a changed route in place of one whose units have been released.
    pub(crate) fn take_over(&mut self, crew: usize, route: &Route) {
        self.cost += Cost(route.cost - self.routes[crew].cost);
        let stamp = self.stamp();
        self.routes[crew].clone_from(route);
        self.routes[crew].version = stamp;
        self.hold(crew);
    }

    /// Puts a route back that stood here before, version and all.
    pub(crate) fn restore(&mut self, crew: usize, route: &mut Route) {
        self.cost += Cost(route.cost - self.routes[crew].cost);
        std::mem::swap(&mut self.routes[crew], route);
    }

    /// Notes that the crew's jobs are with nobody.
    pub(crate) fn forget_jobs(&mut self, crew: usize) {
        self.set_route_of(crew, None);
    }

    /// Notes that the crew's jobs are with it.
    pub(crate) fn note_jobs(&mut self, crew: usize) {
        self.set_route_of(crew, Some(crew));
    }

    fn set_route_of(&mut self, crew: usize, value: Option<usize>) {
        for job in self.routes[crew].jobs() {
            self.route_of[job.ix()] = value;
        }
    }

    /// Puts another whole plan in place of this one.
    pub(crate) fn replace(&mut self, routes: Vec<Route>, bank: Vec<JobIx>, shares: Vec<Share>) {
        self.route_of.fill(None);
        self.shares = shares;
        self.routes = routes;
        self.bank = bank;
        self.hold_again();
        for crew in 0..self.routes.len() {
            self.note_jobs(crew);
        }
        self.cost = self.full_cost();
    }

    /// In debug builds: what is cached of the crew's day equals what a fresh evaluation gives.
    pub(crate) fn assert_day_consistent(&self, crew: usize) {
        if cfg!(debug_assertions) {
            let route = &self.routes[crew];
            let clock = self.clock(crew);
            let mut fresh = route.clone();
            for (served, visit) in fresh.services.iter_mut().zip(&route.visits) {
                if matches!(visit, Visit::Job(_)) {
                    *served = Served::UNKNOWN;
                }
            }
            let served = fresh.serve(self.model, crew);
            debug_assert!(served.is_ok(), "crew {crew} lacks a tool");
            for (fresh, cached) in fresh.services.iter().zip(&route.services) {
                debug_assert!(
                    fresh.service == cached.service && fresh.uses == cached.uses,
                    "crew {crew}"
                );
            }
            fresh.services.clone_from(&route.services);
            let evaluated = fresh.evaluate(&clock);
            debug_assert!(evaluated.is_ok(), "crew {crew}: {evaluated:?}");
            let redue = load_out::redue(self, crew, &mut fresh.legs);
            debug_assert!(redue, "crew {crew} has a unit that is not to be had");
            debug_assert!(
                fresh == *route,
                "crew {crew}: cached figures differ from a fresh evaluation"
            );
            for job in route.jobs() {
                debug_assert!(self.route_of[job.ix()] == Some(crew));
            }
            for unit in route.legs.iter().flat_map(|leg| &leg.units) {
                debug_assert!(self.holder(crew, *unit) == Some(crew), "of two crews");
            }
        }
    }

    /// In debug builds: everything cached equals what a fresh evaluation gives.
    pub(crate) fn assert_consistent(&self) {
        if cfg!(debug_assertions) {
            for crew in 0..self.routes.len() {
                self.assert_day_consistent(crew);
            }
            debug_assert!(
                self.cost == self.full_cost(),
                "the running cost differs from the sum"
            );
        }
    }
}

/// What the crew has aboard before the part to be planned.
fn first_leg(state: &State, crew: usize) -> Leg {
    let mut leg = Leg::empty();
    if let Progress::UnderWay(way) = &state.model.crew(crew).progress {
        leg.units.clone_from(&way.aboard);
        for &unit in &way.aboard {
            // A unit that cannot be back in time any more is aboard, but not to be used.
            if load_out::may_stay_out(state, crew, unit) {
                leg.set.insert(load_out::class_of(state.model, unit));
            }
        }
        load_out::redue(state, crew, std::slice::from_mut(&mut leg));
    }
    leg
}
