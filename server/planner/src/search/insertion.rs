//! Where a job fits, and what it would cost there.

use std::cell::OnceCell;

use rand::RngExt;
use rand_xoshiro::Xoshiro256PlusPlus;

use super::class_set::ClassSet;
use super::clock::Clock;
use super::compare;
use super::load_out::{self, Swap, Wish};
use super::meeting;
use super::model::Quickest;
use super::route::{Leg, Route, Visit, load_cost};
use super::scan::{Scan, Spot, is_full};
use super::services::Services;
use super::state::State;
use crate::Seconds;
use crate::cost::Cost;
use crate::index::JobIx;
use crate::rules::capability::{self, Served, Service};

/// The cheapest place found so far.
pub(crate) struct Candidate {
    pub(crate) crew: usize,
    pub(crate) position: usize,
    /// What the plan's cost grows by, the job's penalty not counted.
    pub(crate) delta: i64,
    /// Load-outs other than the present ones, and a new call at a yard.
    pub(crate) change: Option<(Vec<Leg>, Option<NewCall>)>,
}

/// A call to be put into a day.
#[derive(Debug, Clone, Copy)]
pub(crate) struct NewCall {
    pub(crate) position: usize,
    /// One right before it.
    pub(crate) first: Option<u8>,
    pub(crate) yard: u8,
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
    /// Calls are tried in every way: after the job too, to bring a unit back; two in a row; for better tools, for units
    /// loaded at other yards before, and for units in the first stretch in which they are available.
    pub(crate) deep: bool,
}

impl Care {
    /// Looks everywhere.
    pub(crate) const FULL: Self = Self {
        blink: 0,
        better: 1,
        call: 1,
        deep: false,
    };

    /// As often overlooking a position, but with better tools and calls at the yard tried in every way.
    pub(crate) const fn close(self) -> Self {
        Self {
            better: 1,
            call: 1,
            deep: true,
            ..self
        }
    }
}

/// Of so many tries of a call with a crew that makes one already, one is made.
const SECOND_CALL: u32 = 4;

/// Finds insertions; keeps buffers between calls.
pub(crate) struct Inserter {
    scratch: Option<Route>,
    legs: Vec<Leg>,
    services: Services,
    able: Vec<Able>,
    lacking: Vec<(usize, usize)>,
    full: Vec<(usize, usize)>,
    spots: Vec<Spot>,
    care: Care,
}

/// A crew that can do the job with what it has aboard in one leg of its day.
struct Able {
    /// What the work itself costs there.
    own: i64,
    crew: usize,
    leg: usize,
    service: Service,
}

/// What a crew's day promises for a job done as quickly as can be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Outlook {
    /// It may be done there.
    Open,
    /// The day has no room for it as it is.
    Full,
    /// It costs too much, wherever it is put.
    Dear,
}

/// What came of a try with units added.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Tried {
    /// Some task has no tool that the crew has or can get.
    NotToBeHad,
    /// They do not go together, or not with the rest of the day.
    Unfit,
    /// The crew can have them.
    Fits,
}

pub(super) fn one_in(rng: &mut Xoshiro256PlusPlus, n: u32) -> bool {
    n == 1 || (n > 1 && rng.random_range(0..n) == 0)
}

impl Inserter {
    pub(crate) fn new(care: Care) -> Self {
        Self {
            scratch: None,
            legs: Vec::new(),
            services: Services::default(),
            able: Vec::new(),
            lacking: Vec::new(),
            full: Vec::new(),
            spots: Vec::new(),
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
        let mut able = std::mem::take(&mut self.able);
        let mut lacking = std::mem::take(&mut self.lacking);
        able.clear();
        lacking.clear();
        let mut full = std::mem::take(&mut self.full);
        full.clear();
        let eligible = |crew: &&usize| state.model.eligible(job, **crew);
        for &crew in crews.iter().filter(eligible) {
            match self.outlook(state, job, crew, ceiling) {
                Outlook::Dear => continue,
                Outlook::Full => {
                    let legs = 0..state.routes[crew].legs.len();
                    full.extend(legs.map(|leg| (crew, leg)));
                    continue;
                }
                Outlook::Open => {}
            }
            let data = &state.model.crews[crew];
            for (leg, part) in state.routes[crew].legs.iter().enumerate() {
                match self.services.serve(state.model, job, crew, &part.set) {
                    Some(served) => able.push(Able {
                        own: data.work_rate * served.service.work + served.service.wear,
                        crew,
                        leg,
                        service: served.service,
                    }),
                    None => lacking.push((crew, leg)),
                }
            }
        }
        // The cheapest crews first make a good bound for the others.
        able.sort_by_key(|able| able.own);
        for able in &able {
            self.as_it_is(state, job, able, rng, &mut best, ceiling);
        }
        // In a full day better tools may make other stops quicker, and so room.
        let aboard = able.iter().map(|able| (able.crew, able.leg));
        for (crew, leg) in aboard.chain(full.iter().copied()) {
            if load_out::is_open(state.model, crew, leg) && one_in(rng, self.care.better) {
                let (clock, wish) = (state.clock(crew), Wish::Better);
                self.with_more(state, &clock, job, leg, wish, rng, &mut best, ceiling);
            }
        }
        for &(crew, leg) in &lacking {
            if load_out::is_open(state.model, crew, leg) {
                self.with_tools(state, job, crew, leg, rng, &mut best, ceiling);
            }
        }
        self.able = able;
        self.full = full;
        self.lacking = lacking;
        if one_in(rng, self.care.call) {
            for &crew in crews.iter().filter(eligible) {
                let clock = state.clock(crew);
                let calls = state.routes[crew].calls.len();
                // A second call pays more seldom still.
                if calls < usize::from(clock.crew.calls_max)
                    && (calls == 0 || self.care.call == 1 || one_in(rng, SECOND_CALL))
                {
                    self.with_calls(state, &clock, job, rng, &mut best, ceiling);
                }
            }
        }
        best
    }

    /// What can be said before the crew's tools are looked at. A careful look passes no crew over.
    fn outlook(&self, state: &State, job: JobIx, crew: usize, ceiling: i64) -> Outlook {
        let (clock, route) = (state.clock(crew), &state.routes[crew]);
        let quickest = state.model.quickest(job, crew);
        if self.care.blink == 0 || self.care.deep {
            Outlook::Open
        } else if quickest.cost - clock.data.idle_rate * route.end.waited >= ceiling {
            Outlook::Dear
        } else if is_full(&clock, route, quickest.work) {
            Outlook::Full
        } else {
            Outlook::Open
        }
    }

    /// Tries the job with the units the crew has.
    fn as_it_is(
        &mut self,
        state: &State,
        job: JobIx,
        able: &Able,
        rng: &mut Xoshiro256PlusPlus,
        best: &mut Option<Candidate>,
        ceiling: i64,
    ) {
        let clock = state.clock(able.crew);
        let route = &state.routes[able.crew];
        let limit = best.as_ref().map_or(ceiling, |best| best.delta);
        let relief = clock.data.idle_rate * route.end.waited;
        if self.care.blink > 0
            && (able.own - relief >= limit || is_full(&clock, route, able.service.work))
        {
            // Only a detour that is shorter than the direct way could help.
            return;
        }
        let scan = Scan::new(&clock, route, able.leg, job, able.service, route.cost);
        scan.positions(self.care, rng, &mut self.spots, best, ceiling, None);
    }

    /// Tries the job with a crew that lacks tools for it, with units added.
    #[expect(
        clippy::too_many_arguments,
        reason = "the search's context, passed on by one caller"
    )]
    fn with_tools(
        &mut self,
        state: &State,
        job: JobIx,
        crew: usize,
        leg: usize,
        rng: &mut Xoshiro256PlusPlus,
        best: &mut Option<Candidate>,
        ceiling: i64,
    ) {
        let clock = state.clock(crew);
        let quickest = state.model.quickest(job, crew);
        let limit = best.as_ref().map_or(ceiling, |best| best.delta);
        if self.care.blink > 0
            && (quickest.cost >= limit || is_full(&clock, &state.routes[crew], quickest.work))
        {
            return;
        }
        let better = self.care.better;
        let mut try_with = |this: &mut Self, wish, rng: &mut _| {
            this.with_more(state, &clock, job, leg, wish, rng, best, ceiling)
        };
        let mut tried = try_with(self, Wish::Better, rng);
        if tried == Tried::NotToBeHad {
            // Nor will it be for less.
            return;
        }
        if tried == Tried::Unfit || one_in(rng, better) {
            tried = tried.max(try_with(self, Wish::Cheapest, rng));
        }
        if tried < Tried::Fits && one_in(rng, better) {
            try_with(self, Wish::Smallest, rng);
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
    ) -> Tried {
        let (model, crew) = (state.model, clock.crew_ix);
        let route = &state.routes[crew];
        let aboard = route.legs[leg].set;
        let care = self.care;
        // Where another crew is met nothing else is to be had; it may be brought along.
        let before = if care.deep && route.legs[leg].meets.is_some() {
            0..leg
        } else {
            0..0
        };
        let can = |class| {
            let mut before = before.clone();
            load_out::obtainable(state, crew, route, leg, class)
                || before.any(|leg| {
                    load_out::is_open(model, crew, leg)
                        && load_out::obtainable(state, crew, route, leg, class)
                })
        };
        let Some(set) = load_out::additions(model, job, crew, &aboard, wish, can, || {
            one_in(rng, care.blink)
        }) else {
            return Tried::NotToBeHad;
        };
        // Where a unit must be back early, a like one that may stay out longer is worth a try.
        let limited = route.legs[leg].due < clock.data.back_by;
        let swap = if limited { Swap::ForLonger } else { Swap::Keep };
        if set == aboard && !limited {
            return Tried::Fits;
        }
        let Some(&Served { service, uses, .. }) = self.services.serve(model, job, crew, &set)
        else {
            return Tried::Unfit;
        };
        // What the job costs by itself is the least it will cost here, unless the units added make other stops quicker,
        // which only a careful look takes into account.
        let own = clock.data.work_rate * service.work + service.wear;
        let dear = own >= best.as_ref().map_or(ceiling, |best| best.delta);
        if dear && care.blink > 0 {
            return Tried::Fits;
        }
        if route.legs.len() == 1 && route.services.iter().all(|served| served.holds(&set)) {
            // The day runs as before; only the job needs the units added.
            if care.blink > 0 && is_full(clock, route, service.work) {
                return Tried::Unfit;
            }
            let mut used = uses;
            used.add(&aboard);
            let legs = &mut self.legs;
            legs.clone_from(&route.legs);
            if !load_out::refit(state, crew, legs, leg, &used, swap) {
                return Tried::Unfit;
            }
            let units_due = legs.last().map_or(Seconds::MAX, |leg| leg.home_due);
            // With a unit that may stay out longer so may the crew, which the day as it is does not know.
            if units_due <= route.units_due() {
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
                    units_due,
                };
                let change = Some((&*legs, None));
                scan.positions(care, rng, &mut self.spots, best, ceiling, change);
                return Tried::Fits;
            }
        }
        route.copied_to(&mut self.scratch).legs[leg].set = set;
        if self.with_legs(state, clock, job, leg, swap, None, rng, best, ceiling) {
            Tried::Fits
        } else {
            Tried::Unfit
        }
    }

    /// Tries the job in a leg of the scratch route, whose set is the wanted one, at every position. Returns whether the
    /// route can be so.
    #[expect(
        clippy::too_many_arguments,
        reason = "the search's context, passed on by its callers"
    )]
    fn with_legs(
        &mut self,
        state: &State,
        clock: &Clock,
        job: JobIx,
        leg: usize,
        swap: Swap,
        call: Option<NewCall>,
        rng: &mut Xoshiro256PlusPlus,
        best: &mut Option<Candidate>,
        ceiling: i64,
    ) -> bool {
        let (care, crew) = (self.care, clock.crew_ix);
        let Some(scratch) = &mut self.scratch else {
            return false;
        };
        let set = scratch.legs[leg].set;
        let Some(service) = fit(state, crew, scratch, leg, job, &set, swap, care.deep) else {
            return false;
        };
        if !meeting::stays(&state.routes[crew], scratch) || scratch.evaluate(clock).is_err() {
            return false;
        }
        let base = state.routes[crew].cost;
        let scan = Scan::new(clock, scratch, leg, job, service, base);
        let change = Some((&scratch.legs, call));
        scan.positions(care, rng, &mut self.spots, best, ceiling, change);
        true
    }

    /// Tries the job after a new call at one of the crew's yards, or at each of them when nothing is to be passed over.
    fn with_calls(
        &mut self,
        state: &State,
        clock: &Clock,
        job: JobIx,
        rng: &mut Xoshiro256PlusPlus,
        best: &mut Option<Candidate>,
        ceiling: i64,
    ) {
        let yards = u8::try_from(clock.crew.yard_calls.len()).unwrap_or(0);
        if self.care.call == 1 || yards < 2 {
            for yard in 0..yards {
                self.with_call(state, clock, job, None, yard, rng, best, ceiling);
                if self.care.deep {
                    self.with_return(state, clock, job, yard, rng, best, ceiling);
                    let left = usize::from(clock.crew.calls_max);
                    if state.routes[clock.crew_ix].calls.len() + 1 < left {
                        for first in 0..yards {
                            self.with_bracket(state, clock, job, first, yard, rng, best, ceiling);
                            let first = Some(first);
                            self.with_call(state, clock, job, first, yard, rng, best, ceiling);
                        }
                    }
                }
            }
        } else {
            let yard = rng.random_range(0..yards);
            self.with_call(state, clock, job, None, yard, rng, best, ceiling);
        }
    }

    /// Tries the job in the leg that begins with a new call at the yard, at every position; right after another new one
    /// at the first yard if there is one.
    #[expect(
        clippy::too_many_arguments,
        reason = "the search's context, passed on by one caller"
    )]
    fn with_call(
        &mut self,
        state: &State,
        clock: &Clock,
        job: JobIx,
        first: Option<u8>,
        yard: u8,
        rng: &mut Xoshiro256PlusPlus,
        best: &mut Option<Candidate>,
        ceiling: i64,
    ) {
        let (model, crew) = (state.model, clock.crew_ix);
        let route = &state.routes[crew];
        let deep = self.care.deep;
        for cut in 0..route.legs.len() {
            let (aboard, due) = (route.legs[cut].set, route.legs[cut].due);
            let classes_for = |wish, skip: &mut dyn FnMut() -> bool| {
                let at =
                    |yard, class| load_out::obtainable_at(state, crew, route, cut, yard, class);
                let before = |class| {
                    let can = |leg| load_out::obtainable(state, crew, route, leg, class);
                    let open = |leg: &usize| load_out::is_open(model, crew, *leg);
                    first.is_some_and(|first| at(first, class)) || (0..=cut).filter(open).any(can)
                };
                let can = |class| at(yard, class) || (deep && before(class));
                load_out::additions(model, job, crew, &aboard, wish, can, skip)
            };
            let Some(cheapest) = classes_for(Wish::Cheapest, &mut || false) else {
                continue;
            };
            let wishes: &[Wish] = if deep {
                &[Wish::Cheapest, Wish::Better, Wish::Smallest]
            } else {
                &[Wish::Cheapest, Wish::Smallest]
            };
            if !deep && cheapest == aboard && due >= clock.data.back_by {
                // Nothing to fetch and nothing to bring back.
                continue;
            }
            // What is quickest may be there too late: others get their turn by chance.
            let better = if deep {
                classes_for(Wish::Better, &mut || one_in(rng, 3))
            } else {
                None
            };
            let smallest = OnceCell::new();
            let quickest = model.quickest(job, crew);
            for position in route.positions(cut) {
                let limit = best.as_ref().map_or(ceiling, |best| best.delta);
                let pays = deep || call_may_pay(clock, route, position, yard, &quickest, limit);
                for &wish in wishes {
                    let set = match wish {
                        Wish::Cheapest => Some(cheapest),
                        Wish::Better => better,
                        Wish::Smallest => {
                            *smallest.get_or_init(|| classes_for(wish, &mut || false))
                        }
                    };
                    let Some(set) = set else { continue };
                    let mut later = route.services[position..*route.positions(cut).end()].iter();
                    if !pays && later.all(|served| served.holds(&set)) {
                        // Nor does it make other stops quicker.
                        continue;
                    }
                    let mut found = false;
                    for early in [false, true] {
                        if early && !(deep && model.in_stretches) {
                            break;
                        }
                        let scratch = route.copied_to(&mut self.scratch);
                        let mut leg = cut + 1;
                        if let Some(first) = first {
                            scratch.insert_call(position, first);
                            scratch.insert_call(position + 1, yard);
                            if one_in(rng, 2) {
                                // What can be put down at the first is, though it may be taken again at the second.
                                scratch.legs[leg].units.clear();
                            }
                            leg += 1;
                        } else {
                            scratch.insert_call(position, yard);
                        }
                        scratch.legs[leg].set = set;
                        scratch.legs[leg].early = early;
                        let call = NewCall {
                            position,
                            first,
                            yard,
                        };
                        let (keep, call) = (Swap::Keep, Some(call));
                        found |=
                            self.with_legs(state, clock, job, leg, keep, call, rng, best, ceiling);
                    }
                    if found && !deep {
                        break;
                    }
                }
            }
        }
    }

    /// Tries the job alone between two new calls: what it needs is fetched for it and brought back.
    #[expect(
        clippy::too_many_arguments,
        reason = "the search's context, passed on by one caller"
    )]
    fn with_bracket(
        &mut self,
        state: &State,
        clock: &Clock,
        job: JobIx,
        first: u8,
        yard: u8,
        rng: &mut Xoshiro256PlusPlus,
        best: &mut Option<Candidate>,
        ceiling: i64,
    ) {
        let (model, crew) = (state.model, clock.crew_ix);
        let route = &state.routes[crew];
        for cut in 0..route.legs.len() {
            let can = |class| load_out::obtainable_at(state, crew, route, cut, first, class);
            let (aboard, wish) = (route.legs[cut].set, Wish::Cheapest);
            let Some(set) = load_out::additions(model, job, crew, &aboard, wish, can, || false)
            else {
                continue;
            };
            for position in route.positions(cut) {
                for early in [false, true] {
                    let scratch = route.copied_to(&mut self.scratch);
                    let leg = scratch.insert_call(position, first);
                    scratch.insert_call(position + 1, yard);
                    scratch.legs[leg].set = set;
                    scratch.legs[leg].early = early;
                    let call = Some(NewCall {
                        position,
                        first: Some(first),
                        yard,
                    });
                    let keep = Swap::Keep;
                    self.with_legs(state, clock, job, leg, keep, call, rng, best, ceiling);
                    if !model.in_stretches {
                        break;
                    }
                }
            }
        }
    }

    /// Tries the job with more units in the leg that a new call at the yard ends, at every position.
    #[expect(
        clippy::too_many_arguments,
        reason = "the search's context, passed on by one caller"
    )]
    fn with_return(
        &mut self,
        state: &State,
        clock: &Clock,
        job: JobIx,
        yard: u8,
        rng: &mut Xoshiro256PlusPlus,
        best: &mut Option<Candidate>,
        ceiling: i64,
    ) {
        let (model, crew) = (state.model, clock.crew_ix);
        let route = &state.routes[crew];
        for leg in 0..route.legs.len() {
            if !load_out::is_open(model, crew, leg) {
                continue;
            }
            let can = |class| load_out::obtainable(state, crew, route, leg, class);
            let (aboard, wish) = (route.legs[leg].set, Wish::Cheapest);
            let Some(set) = load_out::additions(model, job, crew, &aboard, wish, can, || false)
            else {
                continue;
            };
            for position in route.positions(leg) {
                let scratch = route.copied_to(&mut self.scratch);
                scratch.insert_call(position, yard);
                scratch.legs[leg].set = set;
                let call = NewCall {
                    position,
                    first: None,
                    yard,
                };
                let (keep, call) = (Swap::Keep, Some(call));
                self.with_legs(state, clock, job, leg, keep, call, rng, best, ceiling);
            }
        }
    }

    /// Looks more or less closely from now on. Returns how it was.
    pub(crate) const fn set_care(&mut self, care: Care) -> Care {
        std::mem::replace(&mut self.care, care)
    }

    /// Carries an insertion out.
    pub(crate) fn apply(&mut self, state: &mut State, job: JobIx, found: Candidate) {
        let Candidate {
            crew,
            position,
            delta,
            change,
        } = found;
        let (before, clock) = (state.cost, state.clock(crew));
        let moves_units = change.is_some();
        if moves_units {
            state.release(crew);
        }
        let model = state.model;
        let route = &mut state.routes[crew];
        let was = route.cost;
        let mut kept = position;
        if let Some((legs, call)) = change {
            route.legs = legs;
            if let Some(call) = call {
                route.insert(call.position, Visit::Call(call.yard));
                if let Some(first) = call.first {
                    route.insert(call.position, Visit::Call(first));
                }
            }
            let aboard = &route.legs[0].set;
            let mut earlier = route.services.iter().take(position);
            if route.legs.len() > 1 || !earlier.all(|served| served.holds(aboard)) {
                kept = 0;
            }
        }
        route.insert(position, Visit::Job(job));
        let aboard = &route.legs[route.leg_at(position)].set;
        if let Some(served) = self.services.serve(model, job, crew, aboard) {
            route.services[position] = *served;
        }
        // With the same units aboard all else is done as before.
        let served = !moves_units || route.serve(model, crew).is_ok();
        let evaluated = if kept == 0 {
            route.evaluate(&clock)
        } else {
            route.evaluate_from(&clock, kept)
        };
        debug_assert!(
            served && evaluated.is_ok(),
            "an insertion that was found must be possible"
        );
        state.cost += Cost(route.cost - was);
        if moves_units {
            state.hold(crew);
        }
        state.routes[crew].version = state.stamp();
        state.route_of[job.ix()] = Some(crew);
        debug_assert!(
            state.cost == before + Cost(delta),
            "the insertion's cost was foretold wrongly"
        );
        compare::insertion(state, crew);
    }
}

/// Whether a new call at a position with the job after it, done as quickly as can be, may fit into the day and cost less
/// than `limit`.
fn call_may_pay(
    clock: &Clock,
    route: &Route,
    position: usize,
    yard: u8,
    quickest: &Quickest,
    limit: i64,
) -> bool {
    let Some(call) = clock.crew.yard_calls.get(usize::from(yard)) else {
        return false;
    };
    let drives = clock.model.drives(call.place);
    let (inward, inward_metres) = drives.from(route.places[position]);
    let (onward, onward_metres) = drives.to(route.places[position + 1]);
    let (drive, metres) = (inward + onward, inward_metres + onward_metres);
    let hop = &route.hops[position];
    let data = clock.data;
    let detour = data.drive_rate * drive + data.metre_rate * metres - hop.cost;
    let idle_left = route.end.waited - route.steps[position].waited;
    let least = quickest.cost + data.work_rate * call.seconds + detour - data.idle_rate * idle_left;
    let added = quickest.work + call.seconds + drive - hop.seconds - idle_left;
    let even = clock.model.problem.travel().pace().is_none();
    least < limit && !(even && route.end.at + added > data.back_by)
}

/// Settles a leg for the wanted set with the job in it: only what is used is loaded, and it must fit. With a deep look
/// also what can only be loaded earlier and carried on. Returns the job's service.
#[expect(
    clippy::too_many_arguments,
    reason = "the search's context, passed on by its callers"
)]
fn fit(
    state: &State,
    crew: usize,
    scratch: &mut Route,
    leg: usize,
    job: JobIx,
    set: &ClassSet,
    swap: Swap,
    deep: bool,
) -> Option<Service> {
    let model = state.model;
    let mut used = scratch.serve(model, crew).ok()?;
    used[leg].add(&capability::serve(model, job, crew, set)?.uses);
    let legs = scratch.legs.len();
    load_out::carry_back(state, crew, &scratch.legs, &mut used[..legs]);
    let mut first = leg;
    if deep && leg > 0 {
        let wanted = used[leg];
        for class in wanted.iter() {
            if load_out::obtainable(state, crew, scratch, leg, class) {
                continue;
            }
            let source = (0..leg).rev().find(|before| {
                load_out::is_open(model, crew, *before)
                    && load_out::obtainable(state, crew, scratch, *before, class)
            })?;
            for used in &mut used[source..leg] {
                used.insert(class);
            }
            first = first.min(source);
        }
        let is_new = scratch.legs[leg - 1].units == scratch.legs[leg].units;
        if (is_new || scratch.positions(leg - 1).count() == 1)
            && load_out::is_open(model, crew, leg - 1)
        {
            // Two calls in a row: nothing is needed between them but what goes on.
            first = first.min(leg - 1);
        }
    }
    for (later, used) in used.iter().enumerate().take(legs).skip(first) {
        if !load_out::refit(state, crew, &mut scratch.legs, later, used, swap) {
            return None;
        }
    }
    if legs > 1 {
        // Classes that must stay aboard may be quicker.
        scratch.serve(model, crew).ok()?;
    }
    capability::serve(model, job, crew, &scratch.legs[leg].set).map(|served| served.service)
}

#[cfg(test)]
mod tests {
    use rand::SeedableRng;

    use super::*;
    use crate::Cancel;
    use crate::index::UnitIx;
    use crate::problem::{Problem, Window};
    use crate::search::model::Model;
    use crate::support::plain::{HOUR, class, crew, job, parts, problem, road, unit};

    const MORNING: JobIx = JobIx(0);
    const AFTERNOON: JobIx = JobIx(1);

    /// Two crews, a unit that must be back in the morning and one like it that need not, and a job for each half of the day.
    fn day() -> Problem {
        let mut early = unit(0, 0);
        early.available[0].close = 3 * HOUR;
        let mut later = job(1, &[0]);
        later.windows = vec![Window {
            open: 5 * HOUR,
            close: 9 * HOUR,
        }];
        problem(parts(
            road(&[0, 600]),
            vec![class(0)],
            vec![early, unit(0, 0)],
            vec![crew(), crew()],
            vec![job(1, &[0]), later],
        ))
    }

    /// A crew with a unit that must be back early takes one like it that may stay out longer, where a job asks for that.
    #[test]
    fn a_unit_that_is_due_gives_way_to_a_free_one() {
        let problem = day();
        let model = Model::new(&problem, &Cancel::new());
        let mut state = State::new(&model);
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(0);
        let mut inserter = Inserter::new(Care::FULL);
        let mut put = |state: &mut State, job| {
            let found = inserter.find(state, job, &[0], &mut rng, Cost::MAX.0);
            found.map(|found| {
                assert!(state.take_left_out(job));
                inserter.apply(state, job, found);
                state.routes[0].legs[0].units.clone()
            })
        };
        // As long as the other crew has the one, the other must do.
        state.reserve(1, UnitIx(1));
        assert_eq!(put(&mut state, MORNING), Some(vec![UnitIx(0)]));
        state.hold_again();
        assert_eq!(put(&mut state, AFTERNOON), Some(vec![UnitIx(1)]));
        state.assert_consistent();
    }
}
