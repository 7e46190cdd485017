//! The search's plan: routes, the jobs left out, and who has which unit.

use super::class_set::Class;
use super::clock::Clock;
use super::load_out;
use super::model::Model;
use super::route::{Leg, Route, Visit};
use crate::Seconds;
use crate::cost::Cost;
use crate::index::{JobIx, PlaceIx, UnitIx};
use crate::problem::Progress;
use crate::rules::capability::Served;

const NOBODY: u32 = u32::MAX;
/// Holds units that are kept for another part of the plan.
const ELSEWHERE: u32 = u32::MAX - 1;

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
    /// Who has a unit on a day.
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
            holder: vec![NOBODY; model.problem.units().len() * model.days],
            free: Vec::new(),
            cost: model
                .open_jobs
                .iter()
                .map(|job| model.penalties[job.ix()])
                .sum(),
            next_version: 1,
            had: Vec::new(),
        };
        state.count_free();
        for crew in 0..model.crews.len() {
            let clock = Clock::new(model, crew);
            let route = Route::new(&clock, first_leg(model, crew));
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

    /// Gives the units of the crew's legs free.
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
        let class = self.model.problem.unit(unit).class.ix();
        let (at, count) = self.places_of(crew, unit.ix(), class);
        match (self.holder[at] == NOBODY, holder == NOBODY) {
            (true, false) => self.free[count] -= 1,
            (false, true) => self.free[count] += 1,
            _ => {}
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
            day * self.model.problem.units().len() + unit,
            day * self.model.units_of_class.len() + class,
        )
    }

    fn count_free(&mut self) {
        let (units, model) = (self.model.problem.units().len(), self.model);
        self.free.clear();
        for day in 0..model.days {
            for class in &model.units_of_class {
                let nobody = |unit: &&UnitIx| self.holder[day * units + unit.ix()] == NOBODY;
                let count = class.iter().filter(nobody).count();
                self.free.push(u32::try_from(count).unwrap_or(u32::MAX));
            }
        }
    }

    /// Keeps a unit for a crew, if it is free.
    pub(crate) fn reserve(&mut self, crew: usize, unit: UnitIx) {
        if unit.ix() < self.model.problem.units().len() && self.holder(crew, unit).is_none() {
            let class = self.model.problem.unit(unit).class.ix();
            let (at, count) = self.places_of(crew, unit.ix(), class);
            self.holder[at] = u32::try_from(crew).unwrap_or(NOBODY);
            self.free[count] -= 1;
        }
    }

    /// Keeps from this copy of the plan the free units for which `mine` does not hold; it is asked with each unit's place
    /// among the free ones of its class on that day.
    pub(crate) fn keep_away(&mut self, mine: impl Fn(usize) -> bool) {
        for on_day in self
            .holder
            .chunks_mut(self.model.problem.units().len().max(1))
        {
            for units in &self.model.units_of_class {
                let free = units
                    .iter()
                    .filter(|unit| on_day[unit.ix()] == NOBODY)
                    .enumerate();
                let others: Vec<usize> = free
                    .filter(|(place, _)| !mine(*place))
                    .map(|(_, unit)| unit.ix())
                    .collect();
                for unit in others {
                    on_day[unit] = ELSEWHERE;
                }
            }
        }
        self.count_free();
    }

    /// Notes anew who has what, from the routes.
    pub(crate) fn hold_again(&mut self) {
        self.holder.fill(NOBODY);
        self.count_free();
        for crew in 0..self.routes.len() {
            self.hold(crew);
        }
    }

    /// Who has the unit on the crew's day.
    pub(crate) fn holder(&self, crew: usize, unit: UnitIx) -> Option<usize> {
        let base = self.model.crews[crew].day * self.model.problem.units().len();
        let holder = self.holder[base + unit.ix()];
        (holder != NOBODY).then_some(holder as usize)
    }

    pub(crate) fn stamp(&mut self) -> u64 {
        self.next_version += 1;
        self.next_version
    }

    /// A free unit of the class that stands at `place`, with the stretch in which it is available: one that covers
    /// `at` for a crew about to leave, the last one otherwise. The one that may stay out longest comes first, then the one that is there soonest.
    pub(crate) fn free_unit(
        &self,
        crew: usize,
        class: Class,
        place: PlaceIx,
        at: Option<Seconds>,
    ) -> Option<(UnitIx, Seconds, Seconds)> {
        if self.free[self.places_of(crew, 0, usize::from(class)).1] == 0 {
            return None;
        }
        let mut best: Option<(UnitIx, Seconds, Seconds)> = None;
        let long_enough = self.model.crews[crew].back_by;
        for &unit_ix in &self.model.units_of_class[usize::from(class)] {
            if self.holder(crew, unit_ix).is_some() {
                continue;
            }
            let unit = self.model.problem.unit(unit_ix);
            if unit.home != place {
                continue;
            }
            let ready_at = self.model.crews[crew].ready_at;
            let window = match at {
                Some(at) => unit.available.iter().find(|window| window.covers(at, at)),
                None => load_out::last_stretch(unit, ready_at, long_enough),
            };
            let Some(window) = window else { continue };
            if best.is_none_or(|(_, from, due)| (due, -from) < (window.close, -window.open)) {
                best = Some((unit_ix, window.open, window.close));
                if window.close >= long_enough && window.open <= ready_at {
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
        for visit in &self.routes[crew].visits {
            if let Visit::Job(job) = visit {
                self.route_of[job.ix()] = value;
            }
        }
    }

    /// Puts another whole plan in place of this one.
    pub(crate) fn replace(&mut self, routes: Vec<Route>, bank: Vec<JobIx>) {
        self.route_of.fill(None);
        self.routes = routes;
        self.bank = bank;
        self.hold_again();
        for crew in 0..self.routes.len() {
            self.note_jobs(crew);
        }
        self.cost = self.full_cost();
    }

    /// In debug builds: everything cached equals what a fresh evaluation gives.
    pub(crate) fn assert_consistent(&self) {
        if cfg!(debug_assertions) {
            for (crew, route) in self.routes.iter().enumerate() {
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
                debug_assert!(
                    fresh == *route,
                    "crew {crew}: cached figures differ from a fresh evaluation"
                );
                for visit in &route.visits {
                    if let Visit::Job(job) = visit {
                        debug_assert!(self.route_of[job.ix()] == Some(crew));
                    }
                }
            }
            debug_assert!(
                self.cost == self.full_cost(),
                "the running cost differs from the sum"
            );
        }
    }
}

/// What the crew has aboard before the part to be planned.
fn first_leg(model: &Model, crew: usize) -> Leg {
    let mut leg = Leg::empty();
    if let Progress::UnderWay(way) = &model.crew(crew).progress {
        for &unit_ix in &way.aboard {
            leg.units.push(unit_ix);
            let unit = model.problem.unit(unit_ix);
            let window = unit
                .available
                .iter()
                .find(|window| window.covers(way.ready_at, way.ready_at));
            // A unit that cannot be back in time any more is aboard, but not to be used.
            if let Some(window) = window
                && window.close >= model.crews[crew].home_at
            {
                leg.set
                    .insert(Class::try_from(unit.class.0).unwrap_or(Class::MAX));
                leg.due = leg.due.min(window.close);
            }
        }
    }
    leg
}
