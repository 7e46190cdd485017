//! One crew's day inside the search: visits, load-outs, and what they add up to.

use super::class_set::ClassSet;
use super::clock::{AT_ONCE, Clock, Step, no_log};
use super::model::Model;
use crate::Seconds;
use crate::index::{CrewIx, JobIx, PlaceIx, UnitIx};
use crate::problem::limits::CALLS_MAX;
use crate::rules::Refusal;
use crate::rules::capability::{self, Served};

/// A stop inside the search.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Visit {
    Job(JobIx),
    /// A call at one of the crew's yards, by its place in their list.
    Call(u8),
    /// A call at a place where another crew is met; the leg it begins says more.
    Meet(PlaceIx),
}

impl Visit {
    pub(crate) const fn is_call(self) -> bool {
        matches!(self, Self::Call(_) | Self::Meet(_))
    }
}

/// Where and when two crews meet to hand units over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Meet {
    /// The one of the two that has the lower number: others may meet at the same place and instant.
    pub(crate) crew: CrewIx,
    pub(crate) place: PlaceIx,
    /// Both begin then.
    pub(crate) at: Seconds,
    /// How long it takes them.
    pub(crate) seconds: Seconds,
}

impl Meet {
    /// When they part.
    pub(crate) const fn over(&self) -> Seconds {
        self.at + self.seconds
    }
}

/// What a call takes, and within which times.
pub(crate) struct Terms {
    pub(crate) work: Seconds,
    /// It does not begin before.
    pub(crate) from: Seconds,
    /// It must be over by then.
    pub(crate) by: Seconds,
}

/// Where the calls of a day stand among its visits.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) struct Calls {
    count: u8,
    at: [u16; CALLS_MAX],
}

impl Calls {
    /// How many.
    pub(crate) fn len(&self) -> usize {
        usize::from(self.count)
    }

    /// Position of one of them.
    pub(crate) fn at(&self, call: usize) -> Option<usize> {
        (call < self.len()).then(|| usize::from(self.at[call]))
    }

    /// How many stand at or before the position: the leg of the visit there.
    fn up_to(&self, position: usize) -> usize {
        let positions = &self.at[..self.len()];
        positions
            .iter()
            .take_while(|at| usize::from(**at) <= position)
            .count()
    }

    fn push(&mut self, position: usize) {
        if let Some(at) = self.at.get_mut(usize::from(self.count)) {
            *at = u16::try_from(position).unwrap_or(u16::MAX);
            self.count += 1;
        }
    }
}

/// Most stretches of a day with the same units aboard.
pub(crate) const LEGS_MAX: usize = CALLS_MAX + 1;

/// A stretch of the day with the same units aboard: from the start, or from a call at a yard, to the next call.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Leg {
    /// Where it begins, unless at the start of the day: by its place in the list of the crew's yards.
    pub(crate) yard: u8,
    /// Units loaded where it begins are had in their first stretch of availability, not in their last.
    pub(crate) early: bool,
    pub(crate) set: ClassSet,
    pub(crate) units: Vec<UnitIx>,
    /// The last of the units becomes available at this instant.
    pub(crate) from: Seconds,
    /// The first of the units must be back by this instant.
    pub(crate) due: Seconds,
    /// The same if it is the last leg: a unit that another crew takes later must be put down at its own yard.
    pub(crate) home_due: Seconds,
    /// The crew it begins with meeting, and where and when.
    pub(crate) meets: Option<(usize, Meet)>,
}

impl Clone for Leg {
    fn clone(&self) -> Self {
        Self {
            units: self.units.clone(),
            ..*self
        }
    }

    fn clone_from(&mut self, source: &Self) {
        self.units.clone_from(&source.units);
        self.yard = source.yard;
        self.early = source.early;
        self.set = source.set;
        self.from = source.from;
        self.due = source.due;
        self.home_due = source.home_due;
        self.meets = source.meets;
    }
}

impl Leg {
    pub(crate) const fn empty() -> Self {
        Self {
            yard: 0,
            early: false,
            set: ClassSet::EMPTY,
            units: Vec::new(),
            from: AT_ONCE,
            due: Seconds::MAX / 4,
            home_due: Seconds::MAX / 4,
            meets: None,
        }
    }
}

/// A drive at the table's own pace.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) struct Hop {
    pub(crate) seconds: Seconds,
    pub(crate) cost: i64,
}

/// How many visits change their standing towards the plan before, if they and all before them begin later.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) struct Stir {
    /// Those up to the next wait that stand within the tolerance and not early: later by more than it, they are moved.
    pub(crate) moved: u32,
    /// Those that are moved forward as it is: later, they may stand as before.
    pub(crate) settled: u32,
}

/// A crew's day.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Route {
    pub(crate) visits: Vec<Visit>,
    /// What each visit takes with the units of its leg.
    pub(crate) services: Vec<Served>,
    pub(crate) legs: Vec<Leg>,
    pub(crate) calls: Calls,
    /// Where the part to be planned begins, the visits' places, and the end place.
    pub(crate) places: Vec<PlaceIx>,
    /// `hops[i]` is the drive to visit `i`; the last entry is for the drive home.
    pub(crate) hops: Vec<Hop>,
    /// `steps[i]` stands before visit `i`, the last one after the last visit.
    pub(crate) steps: Vec<Step>,
    /// No arrival at visit `i` after `latest[i]` can be feasible; the last entry is for the end place.
    pub(crate) latest: Vec<Seconds>,
    /// What later starts from visit `i` on change for people who know the plan before. Empty where there was none.
    pub(crate) stir: Vec<Stir>,
    pub(crate) end: Step,
    pub(crate) cost: i64,
    pub(crate) version: u64,
}

impl Clone for Route {
    fn clone(&self) -> Self {
        Self {
            visits: self.visits.clone(),
            services: self.services.clone(),
            legs: self.legs.clone(),
            calls: self.calls,
            places: self.places.clone(),
            hops: self.hops.clone(),
            steps: self.steps.clone(),
            latest: self.latest.clone(),
            stir: self.stir.clone(),
            ..*self
        }
    }

    /// Reuses the buffers: routes are copied in every iteration.
    fn clone_from(&mut self, source: &Self) {
        self.visits.clone_from(&source.visits);
        self.services.clone_from(&source.services);
        self.legs.clone_from(&source.legs);
        self.calls = source.calls;
        self.places.clone_from(&source.places);
        self.hops.clone_from(&source.hops);
        self.steps.clone_from(&source.steps);
        self.latest.clone_from(&source.latest);
        self.stir.clone_from(&source.stir);
        self.end = source.end;
        self.cost = source.cost;
        self.version = source.version;
    }
}

impl Route {
    /// A copy in what room there is already.
    pub(crate) fn copied_to<'s>(&self, scratch: &'s mut Option<Self>) -> &'s mut Self {
        match scratch {
            Some(present) => {
                present.clone_from(self);
                present
            }
            None => scratch.insert(self.clone()),
        }
    }

    /// A day without stops, with what is aboard already.
    pub(crate) fn new(clock: &Clock, first: Leg) -> Self {
        let step = clock.begin();
        let mut route = Self {
            visits: Vec::new(),
            services: Vec::new(),
            legs: vec![first],
            calls: Calls::default(),
            places: Vec::new(),
            hops: Vec::new(),
            steps: Vec::new(),
            latest: Vec::new(),
            stir: Vec::new(),
            end: step,
            cost: 0,
            version: 0,
        };
        let evaluated = route.evaluate(clock);
        debug_assert!(evaluated.is_ok(), "a day without stops is always possible");
        route
    }

    /// Its jobs, in order.
    pub(crate) fn jobs(&self) -> impl Iterator<Item = JobIx> + '_ {
        self.visits.iter().filter_map(|visit| match visit {
            Visit::Job(job) => Some(*job),
            Visit::Call(_) | Visit::Meet(_) => None,
        })
    }

    /// The leg of the visit at `position`. A call counts to the leg that it begins.
    pub(crate) fn leg_at(&self, position: usize) -> usize {
        if self.calls.count == 0 {
            return 0;
        }
        self.calls.up_to(position)
    }

    /// Positions where a visit can be inserted so that it lies in the leg.
    pub(crate) fn positions(&self, leg: usize) -> std::ops::RangeInclusive<usize> {
        let first = match leg {
            0 => 0,
            _ => self.calls.at(leg - 1).map_or(0, |call| call + 1),
        };
        first..=self.calls.at(leg).unwrap_or(self.visits.len())
    }

    pub(crate) fn place(&self, clock: &Clock, position: usize) -> PlaceIx {
        self.visits
            .get(position)
            .map_or(clock.data.end, |visit| visit_place(clock, *visit))
    }

    pub(crate) fn place_before(&self, clock: &Clock, position: usize) -> PlaceIx {
        if position == 0 {
            clock.data.from
        } else {
            self.place(clock, position - 1)
        }
    }

    pub(crate) fn position(&self, job: JobIx) -> Option<usize> {
        self.visits
            .iter()
            .position(|visit| *visit == Visit::Job(job))
    }

    /// Brings every service up to date with its leg's set. Returns the classes used in each leg, or the position of
    /// the first visit that cannot be served.
    pub(crate) fn serve(
        &mut self,
        model: &Model,
        crew: usize,
    ) -> Result<[ClassSet; LEGS_MAX], usize> {
        let mut used = [ClassSet::EMPTY; LEGS_MAX];
        debug_assert!(self.services.len() == self.visits.len());
        for position in 0..self.visits.len() {
            let leg = self.leg_at(position);
            let aboard = &self.legs[leg].set;
            let served = &mut self.services[position];
            if let Visit::Job(job) = self.visits[position]
                && !served.holds(aboard)
            {
                *served = capability::serve(model, job, crew, aboard).ok_or(position)?;
            }
            used[leg].add(&served.uses);
        }
        Ok(used)
    }

    /// Puts a visit in; its service is looked up by the next [`Route::serve`].
    pub(crate) fn insert(&mut self, position: usize, visit: Visit) {
        self.visits.insert(position, visit);
        self.services.insert(position, unserved(visit));
        self.find_calls();
    }

    /// Takes over another day's visits and legs; services are looked up by the next [`Route::serve`].
    pub(crate) fn take_day(&mut self, visits: &[Visit], legs: &[Leg]) {
        self.visits.clear();
        self.visits.extend_from_slice(visits);
        self.services.clear();
        self.services
            .extend(visits.iter().map(|visit| unserved(*visit)));
        legs.clone_into(&mut self.legs);
        self.find_calls();
    }

    /// Takes the visit out.
    pub(crate) fn remove(&mut self, position: usize) -> Visit {
        self.services.remove(position);
        let visit = self.visits.remove(position);
        self.find_calls();
        visit
    }

    /// Takes out what `stays` does not hold on to.
    pub(crate) fn retain(&mut self, stays: impl Fn(&Visit) -> bool) {
        let mut kept = 0;
        for position in 0..self.visits.len() {
            if stays(&self.visits[position]) {
                self.visits[kept] = self.visits[position];
                self.services[kept] = self.services[position];
                kept += 1;
            }
        }
        self.visits.truncate(kept);
        self.services.truncate(kept);
        self.find_calls();
    }

    fn find_calls(&mut self) {
        let any = self.legs.len() > 1 || self.calls.count > 0;
        self.calls = Calls::default();
        if any {
            for (position, visit) in self.visits.iter().enumerate() {
                if visit.is_call() {
                    self.calls.push(position);
                }
            }
        }
    }

    /// Puts a call in that begins a leg with the units of the one it cuts off.
    pub(crate) fn insert_call(&mut self, position: usize, yard: u8) -> usize {
        self.cut_off(position, Visit::Call(yard), yard, None)
    }

    /// Puts a meeting with another crew in, in the same way.
    pub(crate) fn insert_meeting(&mut self, position: usize, with: usize, meet: Meet) -> usize {
        self.cut_off(position, Visit::Meet(meet.place), 0, Some((with, meet)))
    }

    fn cut_off(
        &mut self,
        position: usize,
        call: Visit,
        yard: u8,
        meets: Option<(usize, Meet)>,
    ) -> usize {
        // A call that stands at the position comes after the new one.
        let cut = position
            .checked_sub(1)
            .map_or(0, |before| self.leg_at(before));
        let leg = Leg {
            yard,
            early: false,
            meets,
            ..self.legs[cut].clone()
        };
        self.legs.insert(cut + 1, leg);
        self.insert(position, call);
        cut + 1
    }

    /// What the call at a position takes, and when it may be.
    pub(crate) fn terms(&self, clock: &Clock, position: usize) -> Terms {
        let leg = self.leg_at(position);
        let (from, by) = (self.legs[leg].from, self.legs[leg - 1].due);
        match self.legs[leg].meets {
            Some((_, meet)) => Terms {
                work: meet.seconds,
                from: from.max(meet.at),
                by: by.min(meet.over()),
            },
            None => Terms {
                work: clock.call_seconds(self.legs[leg].yard),
                from,
                by,
            },
        }
    }

    /// Takes the call out that begins the leg, and the leg with it.
    pub(crate) fn remove_call(&mut self, leg: usize) {
        if let Some(position) = leg.checked_sub(1).and_then(|call| self.calls.at(call)) {
            self.legs.remove(leg);
            self.remove(position);
        }
    }

    /// Recomputes times and cost from visits, services and legs.
    pub(crate) fn evaluate(&mut self, clock: &Clock) -> Result<(), Refusal> {
        self.steps.clear();
        self.steps.push(clock.begin());
        self.places.clear();
        self.places.push(clock.data.from);
        self.hops.clear();
        self.evaluate_from(clock, 0)
    }

    /// The same for a day that was evaluated before and has changed since in nothing that bears on the times of its
    /// first `kept` visits.
    pub(crate) fn evaluate_from(&mut self, clock: &Clock, kept: usize) -> Result<(), Refusal> {
        self.find_hops(clock, kept);
        self.steps.truncate(kept + 1);
        let mut step = self.steps[kept];
        for position in kept..self.visits.len() {
            clock.go(&mut step, &self.hops[position], &mut no_log)?;
            self.visit(clock, position, &mut step)?;
            self.steps.push(step);
        }
        self.go_home(clock, &mut step)?;
        self.end = step;
        self.cost = step.cost + clock.end_cost(&step) + self.load_cost(clock);
        self.find_latest(clock);
        if clock.model.has_previous {
            self.find_stir(clock);
        }
        Ok(())
    }

    /// Does the visit at `position` on arrival.
    pub(crate) fn visit(
        &self,
        clock: &Clock,
        position: usize,
        step: &mut Step,
    ) -> Result<(), Refusal> {
        match self.visits[position] {
            Visit::Job(job) => {
                clock.work(
                    step,
                    job,
                    &self.services[position].service,
                    AT_ONCE,
                    &mut no_log,
                )?;
            }
            Visit::Call(_) | Visit::Meet(_) => {
                let terms = self.terms(clock, position);
                clock.call(step, terms.work, terms.from, &mut no_log)?;
                if step.at > terms.by {
                    return Err(Refusal::UnitDue);
                }
            }
        }
        Ok(())
    }

    /// Drives to the end place.
    fn go_home(&self, clock: &Clock, step: &mut Step) -> Result<(), Refusal> {
        if self.visits.is_empty() && !clock.data.under_way {
            return Ok(());
        }
        clock.go(step, &self.hops[self.visits.len()], &mut no_log)?;
        self.check_end(clock, step.at)
    }

    fn check_end(&self, clock: &Clock, back_at: Seconds) -> Result<(), Refusal> {
        check_back(clock, back_at, self.units_due())
    }

    /// The first of the units aboard at the end must be back by then.
    pub(crate) fn units_due(&self) -> Seconds {
        self.legs.last().map_or(Seconds::MAX, |leg| leg.home_due)
    }

    /// Handling of the units loaded in the part still to come.
    pub(crate) fn load_cost(&self, clock: &Clock) -> i64 {
        load_cost(clock, &self.legs)
    }

    /// Notes the places and what lies between them, which insertion tests ask over and over; those up to visit `kept`
    /// are noted already.
    fn find_hops(&mut self, clock: &Clock, kept: usize) {
        let travel = clock.model.problem.travel();
        self.places.truncate(kept + 1);
        let onward = self.visits[kept..].iter();
        self.places
            .extend(onward.map(|visit| visit_place(clock, *visit)));
        self.places.push(clock.data.end);
        self.hops.truncate(kept);
        if self.visits.is_empty() && !clock.data.under_way {
            // A crew without a stop drives nowhere.
            self.hops.push(Hop::default());
        } else {
            self.hops.extend(self.places[kept..].windows(2).map(|ends| {
                clock.hop(
                    travel.table_seconds(ends[0], ends[1]),
                    travel.metres(ends[0], ends[1]),
                )
            }));
        }
    }

    fn find_latest(&mut self, clock: &Clock) {
        let travel = clock.model.problem.travel();
        let count = self.visits.len();
        self.latest.clear();
        self.latest.resize(count + 1, 0);
        self.latest[count] = clock.data.back_by.min(self.units_due());
        for position in (0..count).rev() {
            let onward = travel.least_of(self.hops[position + 1].seconds);
            let leave_by = self.latest[position + 1] - onward;
            self.latest[position] = match self.visits[position] {
                Visit::Job(job) => {
                    let work = self.services[position].service.work;
                    clock.model.times[job.ix()]
                        .latest_start(work)
                        .min(leave_by - work)
                }
                Visit::Call(_) | Visit::Meet(_) => {
                    let terms = self.terms(clock, position);
                    leave_by.min(terms.by) - terms.work
                }
            };
        }
    }

    fn find_stir(&mut self, clock: &Clock) {
        let problem = clock.model.problem;
        let tolerance = problem.weights().moved_tolerance;
        self.stir.clear();
        self.stir.resize(self.visits.len() + 1, Stir::default());
        for (position, steps) in self.steps.windows(2).enumerate().rev() {
            let (before, after) = (&steps[0], &steps[1]);
            let mut stir = self.stir[position + 1];
            if let Visit::Job(job) = self.visits[position]
                && let Some(was) = problem.job(job).previous
            {
                let late = after.at - self.services[position].service.work - was.start;
                // A break in the work hides its start: it was no later than this.
                let sure = after.breaks_taken == before.breaks_taken;
                stir.moved += u32::from(sure && (0..=tolerance).contains(&late));
                stir.settled += u32::from(!sure || late < -tolerance);
            }
            if after.waited > before.waited {
                stir.moved = 0;
            }
            self.stir[position] = stir;
        }
    }
}

/// What a visit takes before that is looked up.
const fn unserved(visit: Visit) -> Served {
    if visit.is_call() {
        Served::NOTHING
    } else {
        Served::UNKNOWN
    }
}

pub(crate) fn visit_place(clock: &Clock, visit: Visit) -> PlaceIx {
    match visit {
        Visit::Job(job) => clock.model.times[job.ix()].place,
        Visit::Call(yard) => clock
            .crew
            .yard_calls
            .get(usize::from(yard))
            .map_or(clock.data.end, |call| call.place),
        Visit::Meet(place) => place,
    }
}

/// Handling of the units loaded: those of the first leg, unless they are aboard already, and those each call brings.
pub(crate) fn load_cost(clock: &Clock, legs: &[Leg]) -> i64 {
    let Some(first) = legs.first() else { return 0 };
    let mut loaded = if clock.data.under_way {
        0
    } else {
        first.units.len()
    };
    for pair in legs.windows(2) {
        let (before, after) = (&pair[0].units, &pair[1].units);
        loaded += after.iter().filter(|unit| !before.contains(unit)).count();
    }
    clock.model.load_unit.0 * i64::try_from(loaded).unwrap_or(i64::MAX)
}

/// Back in time for shift and overtime, and for the units aboard.
pub(crate) fn check_back(
    clock: &Clock,
    back_at: Seconds,
    units_due: Seconds,
) -> Result<(), Refusal> {
    if back_at > clock.data.back_by {
        return Err(Refusal::ShiftEnd);
    }
    if back_at > units_due {
        return Err(Refusal::UnitDue);
    }
    Ok(())
}
