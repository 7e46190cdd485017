//! Where a job fits, and what it would cost there.

use rand::RngExt;
use rand_xoshiro::Xoshiro256PlusPlus;

use super::class_set::ClassSet;
use super::clock::{AT_ONCE, Clock, no_log};
use super::load_out::{self, Swap, Wish};
use super::route::{Leg, Route, Visit, check_back, latest_start, load_cost};
use super::state::State;
use crate::Seconds;
use crate::cost::Cost;
use crate::index::JobIx;
use crate::rules::capability::{self, Service};

/// The cheapest place found so far.
pub(crate) struct Candidate {
    pub(crate) crew: usize,
    pub(crate) position: usize,
    /// What the plan's cost grows by, the job's penalty not counted.
    pub(crate) delta: i64,
    /// Load-outs other than the present ones, and the call at the yard.
    pub(crate) change: Option<(Vec<Leg>, Option<usize>)>,
}

/// How the insertion is looked for.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Care {
    /// Of so many positions, one is passed over. Zero: none.
    pub(crate) blink: u32,
    /// Of so many crews with tools, one is also tried with better ones.
    pub(crate) better: u32,
    /// Of so many jobs, one is tried with calls at the yard; they cost much time and seldom pay.
    pub(crate) call: u32,
}

impl Care {
    /// Looks everywhere.
    pub(crate) const FULL: Self = Self {
        blink: 0,
        better: 1,
        call: 1,
    };
}

/// Finds insertions; keeps buffers between calls.
pub(crate) struct Inserter {
    scratch: Option<Route>,
    legs: Vec<Leg>,
    care: Care,
}

fn one_in(rng: &mut Xoshiro256PlusPlus, n: u32) -> bool {
    n == 1 || (n > 1 && rng.random_range(0..n) == 0)
}

impl Inserter {
    pub(crate) const fn new(care: Care) -> Self {
        Self {
            scratch: None,
            legs: Vec::new(),
            care,
        }
    }

    /// The cheapest insertion of the job with one of the crews that costs less than the ceiling.
    ///
    /// First every crew is tried as it is, which is quick and makes a good bound; then with other units; calls at the
    /// yard come last, for some jobs.
    pub(crate) fn find(
        &mut self,
        state: &State,
        job: JobIx,
        crews: &[usize],
        rng: &mut Xoshiro256PlusPlus,
        ceiling: i64,
    ) -> Option<Candidate> {
        let mut best = None;
        for &crew in crews
            .iter()
            .filter(|crew| state.model.eligible(job, **crew))
        {
            self.as_it_is(state, job, crew, rng, &mut best, ceiling);
        }
        for &crew in crews
            .iter()
            .filter(|crew| state.model.eligible(job, **crew))
        {
            self.with_changes(state, job, crew, rng, &mut best, ceiling);
        }
        if one_in(rng, self.care.call) {
            for &crew in crews
                .iter()
                .filter(|crew| state.model.eligible(job, **crew))
            {
                let clock = state.clock(crew);
                if state.routes[crew].call_at.is_none() && clock.crew.yard_call.is_some() {
                    self.with_call(state, &clock, job, rng, &mut best, ceiling);
                }
            }
        }
        best
    }

    /// Tries the job with the units the crew has.
    fn as_it_is(
        &self,
        state: &State,
        job: JobIx,
        crew: usize,
        rng: &mut Xoshiro256PlusPlus,
        best: &mut Option<Candidate>,
        ceiling: i64,
    ) {
        let clock = state.clock(crew);
        let route = &state.routes[crew];
        for leg in 0..route.legs.len() {
            if let Some(found) = capability::serve(state.model, job, crew, &route.legs[leg].set) {
                let scan = Scan::new(&clock, route, leg, job, found.service, route.cost);
                scan.positions(self.care, rng, best, ceiling, None);
            }
        }
    }

    /// Tries the job with units added: where the crew lacks tools always, elsewhere by chance.
    fn with_changes(
        &mut self,
        state: &State,
        job: JobIx,
        crew: usize,
        rng: &mut Xoshiro256PlusPlus,
        best: &mut Option<Candidate>,
        ceiling: i64,
    ) {
        let model = state.model;
        let clock = state.clock(crew);
        let route = &state.routes[crew];
        for leg in 0..route.legs.len() {
            if !load_out::is_open(model, crew, leg) {
                continue;
            }
            let has_tools = capability::serve(model, job, crew, &route.legs[leg].set).is_some();
            if has_tools && !one_in(rng, self.care.better) {
                continue;
            }
            let mut fitted =
                self.with_more(state, &clock, job, leg, Wish::Better, rng, best, ceiling);
            if !has_tools {
                if !fitted || one_in(rng, self.care.better) {
                    fitted |=
                        self.with_more(state, &clock, job, leg, Wish::Cheapest, rng, best, ceiling);
                }
                if !fitted && one_in(rng, self.care.better) {
                    self.with_more(state, &clock, job, leg, Wish::Smallest, rng, best, ceiling);
                }
            }
        }
    }

    /// Tries the job in a leg with units added to it.
    #[expect(
        clippy::too_many_arguments,
        reason = "the search's context, passed on by one caller"
    )]
    fn with_more(
        &mut self,
        state: &State,
        clock: &Clock,
        job: JobIx,
        leg: usize,
        wish: Wish,
        rng: &mut Xoshiro256PlusPlus,
        best: &mut Option<Candidate>,
        ceiling: i64,
    ) -> bool {
        let (model, crew) = (state.model, clock.crew_ix);
        let route = &state.routes[crew];
        let aboard = route.legs[leg].set;
        let can = |class| load_out::obtainable(state, crew, route, leg, class);
        let care = self.care;
        let Some(set) = load_out::additions(model, job, crew, &aboard, wish, can, || {
            one_in(rng, care.blink)
        }) else {
            return false;
        };
        // Where a unit must be back early, a like one that may stay out longer is worth a try.
        let limited = route.legs[leg].due < clock.data.back_by;
        let swap = if limited { Swap::ForLonger } else { Swap::Keep };
        if set == aboard && !limited {
            return true;
        }
        let Some(found) = capability::serve(model, job, crew, &set) else {
            return false;
        };
        let service = found.service;
        // What the job costs by itself is the least it will cost here, unless the units added make other stops quicker,
        // which only a careful look takes into account.
        let own = clock.data.work_rate * service.work + service.wear;
        let dear = own >= best.as_ref().map_or(ceiling, |best| best.delta);
        if dear && care.blink > 0 {
            return true;
        }
        if route.legs.len() == 1 && route.services.iter().all(|served| served.holds(&set)) {
            // The day runs as before; only the job needs the units added.
            let mut used = found.uses;
            used.add(&aboard);
            let legs = &mut self.legs;
            legs.clone_from(&route.legs);
            if !load_out::refit(state, crew, legs, leg, &used, swap) {
                return false;
            }
            let cost = load_cost(clock, legs);
            let scan = Scan {
                clock,
                route,
                leg,
                job,
                service,
                base: route.cost,
                load_cost: cost,
                shift: cost - route.load_cost(clock),
                units_due: legs.last().map_or(Seconds::MAX, |leg| leg.due),
            };
            scan.positions(care, rng, best, ceiling, Some((legs, None)));
            return true;
        }
        let scratch = copy(&mut self.scratch, route);
        scratch.legs[leg].set = set;
        let Some(service) = fit(state, crew, scratch, leg, job, &set, swap) else {
            return false;
        };
        if scratch.evaluate(clock).is_err() {
            return false;
        }
        let scan = Scan::new(clock, scratch, leg, job, service, route.cost);
        scan.positions(
            care,
            rng,
            best,
            ceiling,
            Some((&scratch.legs, scratch.call_at)),
        );
        true
    }

    /// Tries the job right after a call at the yard, at every position.
    fn with_call(
        &mut self,
        state: &State,
        clock: &Clock,
        job: JobIx,
        rng: &mut Xoshiro256PlusPlus,
        best: &mut Option<Candidate>,
        ceiling: i64,
    ) {
        let (model, crew) = (state.model, clock.crew_ix);
        let route = &state.routes[crew];
        for call_at in 0..=route.visits.len() {
            for wish in [Wish::Cheapest, Wish::Smallest] {
                let scratch = copy(&mut self.scratch, route);
                scratch.legs.push(scratch.legs[0].clone());
                scratch.insert(call_at, Visit::Call);
                let aboard = scratch.legs[0].set;
                let can = |class| load_out::obtainable(state, crew, scratch, 1, class);
                let Some(set) = load_out::additions(model, job, crew, &aboard, wish, can, || false)
                else {
                    return;
                };
                if set == aboard && scratch.legs[0].due >= clock.data.back_by {
                    // Nothing to fetch and nothing to bring back.
                    return;
                }
                scratch.legs[1].set = set;
                let Some(service) = fit(state, crew, scratch, 1, job, &set, Swap::Keep) else {
                    continue;
                };
                if scratch.evaluate(clock).is_err() {
                    continue;
                }
                let scan = Scan::new(clock, scratch, 1, job, service, route.cost);
                scan.positions(
                    self.care,
                    rng,
                    best,
                    ceiling,
                    Some((&scratch.legs, scratch.call_at)),
                );
                break;
            }
        }
    }

    /// Carries an insertion out.
    pub(crate) fn apply(&mut self, state: &mut State, job: JobIx, found: Candidate) {
        let crew = found.crew;
        let clock = state.clock(crew);
        let before = state.cost;
        let scratch = copy(&mut self.scratch, &state.routes[crew]);
        if let Some((legs, call_at)) = found.change {
            let call_is_new = scratch.call_at.is_none();
            scratch.legs = legs;
            if call_is_new && let Some(call_at) = call_at {
                scratch.insert(call_at, Visit::Call);
            }
        }
        scratch.insert(found.position, Visit::Job(job));
        let served = scratch.serve(state.model, crew);
        let evaluated = scratch.evaluate(&clock);
        debug_assert!(
            served.is_ok() && evaluated.is_ok(),
            "an insertion that was found must be possible"
        );
        let route = self.scratch.as_ref();
        if let Some(route) = route {
            state.put(crew, route);
        }
        state.route_of[job.ix()] = Some(crew);
        debug_assert!(
            state.cost == before + Cost(found.delta),
            "the insertion's cost was foretold wrongly"
        );
    }
}

/// Settles a leg for the wanted set with the job in it: only what is used is loaded, and it must fit. Returns the job's
/// service.
fn fit(
    state: &State,
    crew: usize,
    scratch: &mut Route,
    leg: usize,
    job: JobIx,
    set: &ClassSet,
    swap: Swap,
) -> Option<Service> {
    let model = state.model;
    let mut used = scratch.serve(model, crew).ok()?;
    used[leg].add(&capability::serve(model, job, crew, set)?.uses);
    if leg == 0 && scratch.legs.len() > 1 {
        // What the second leg carries over must be there from the start.
        for unit in &scratch.legs[1].units {
            if scratch.legs[0].units.contains(unit) {
                used[0].insert(load_out::class_of(model, *unit));
            }
        }
    }
    if !load_out::refit(state, crew, &mut scratch.legs, leg, &used[leg], swap) {
        return None;
    }
    if scratch.legs.len() > 1 {
        if leg == 0 && !load_out::refit(state, crew, &mut scratch.legs, 1, &used[1], swap) {
            return None;
        }
        // Classes that must stay aboard may be quicker.
        scratch.serve(model, crew).ok()?;
    }
    capability::serve(model, job, crew, &scratch.legs[leg].set).map(|served| served.service)
}

fn copy<'s>(scratch: &'s mut Option<Route>, route: &Route) -> &'s mut Route {
    match scratch {
        Some(present) => {
            present.clone_from(route);
            present
        }
        None => scratch.insert(route.clone()),
    }
}

/// A look through the positions of one leg.
struct Scan<'s> {
    clock: &'s Clock<'s>,
    route: &'s Route,
    leg: usize,
    job: JobIx,
    service: Service,
    /// Cost of the route as it is in the plan.
    base: i64,
    load_cost: i64,
    /// How much dearer the route is before the job is in it.
    shift: i64,
    units_due: Seconds,
}

impl<'s> Scan<'s> {
    fn new(
        clock: &'s Clock<'s>,
        route: &'s Route,
        leg: usize,
        job: JobIx,
        service: Service,
        base: i64,
    ) -> Self {
        Self {
            clock,
            route,
            leg,
            job,
            service,
            base,
            load_cost: route.load_cost(clock),
            shift: route.cost - base,
            units_due: route.units_due(),
        }
    }

    fn positions(
        &self,
        care: Care,
        rng: &mut Xoshiro256PlusPlus,
        best: &mut Option<Candidate>,
        ceiling: i64,
        change: Option<(&Vec<Leg>, Option<usize>)>,
    ) {
        let model = self.clock.model;
        let travel = model.problem.travel();
        let data = self.clock.data;
        let drives = model.drives(model.problem.job(self.job).place);
        let latest_start = latest_start(model, self.job, self.service.work);
        let opens = model
            .problem
            .job(self.job)
            .windows
            .first()
            .map_or(0, |window| window.open);
        let own = data.work_rate * self.service.work + self.service.wear;
        let idle_left = self.route.end.waited;
        for position in self.route.positions(self.leg) {
            if one_in(rng, care.blink) {
                continue;
            }
            let before = &self.route.steps[position];
            let (from, to) = (self.route.places[position], self.route.places[position + 1]);
            let (inward, inward_metres) = drives.from(from);
            let arrival = before.at + travel.least_of(inward);
            if arrival > latest_start {
                continue;
            }
            let (onward_drive, onward_metres) = drives.to(to);
            let onward = arrival.max(opens) + self.service.work + travel.least_of(onward_drive);
            if onward > self.route.latest[position] {
                continue;
            }
            let limit = best.as_ref().map_or(ceiling, |best| best.delta);
            // Waiting further on may shrink; nothing else can.
            let relief = data.idle_rate * (idle_left - before.waited);
            let (drive, metres) = (inward + onward_drive, inward_metres + onward_metres);
            let least = self.shift + own + data.drive_rate * drive + data.metre_rate * metres
                - self.route.hops[position]
                - relief;
            if least >= limit {
                continue;
            }
            if let Some(delta) = self.exact(position)
                && delta < limit
            {
                *best = Some(Candidate {
                    crew: self.clock.crew_ix,
                    position,
                    delta,
                    change: change.map(|(legs, call_at)| (legs.clone(), call_at)),
                });
            }
        }
    }

    /// The exact growth in cost, or `None` if it is not possible. Walks on from the position only as far as times
    /// differ from the present ones.
    fn exact(&self, position: usize) -> Option<i64> {
        let (clock, route) = (self.clock, self.route);
        let here = clock.model.problem.job(self.job).place;
        let mut step = route.steps[position];
        clock
            .drive(
                &mut step,
                route.place_before(clock, position),
                here,
                &mut no_log,
            )
            .ok()?;
        clock
            .work(&mut step, self.job, &self.service, AT_ONCE, &mut no_log)
            .ok()?;
        let mut from = here;
        for next in position..route.visits.len() {
            let to = route.place(clock, next);
            clock.drive(&mut step, from, to, &mut no_log).ok()?;
            route.visit(clock, next, &mut step).ok()?;
            from = to;
            let present = &route.steps[next + 1];
            if step.at == present.at && step.breaks_taken == present.breaks_taken {
                // From here on the day runs as before.
                check_back(clock, route.end.at, self.units_due).ok()?;
                step.at = route.end.at;
                step.cost += route.end.cost - present.cost;
                step.exposure += route.end.exposure - present.exposure;
                step.busy += route.end.busy - present.busy;
                return Some(step.cost + clock.end_cost(&step) + self.load_cost - self.base);
            }
            if step.at > present.at && step.at > self.bound_after(next) {
                return None;
            }
        }
        clock
            .drive(&mut step, from, clock.data.end, &mut no_log)
            .ok()?;
        check_back(clock, step.at, self.units_due).ok()?;
        Some(step.cost + clock.end_cost(&step) + self.load_cost - self.base)
    }

    /// Leaving visit `next` after this cannot be feasible.
    fn bound_after(&self, next: usize) -> i64 {
        let travel = self.clock.model.problem.travel();
        let from = self.route.place(self.clock, next);
        let to = self.route.place(self.clock, next + 1);
        self.route.latest[next + 1] - travel.least_seconds(from, to)
    }
}
