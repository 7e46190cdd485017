//! Days that single crews had in the plans that a search met with, also in those that it gave up.
//!
//! A plan that is too dear as a whole is seldom so in each crew's day. Now and then the best choice among all these days is
//! looked for; it puts together what came up at different times.

use std::collections::{HashMap, HashSet};

use rand::{Rng, SeedableRng};
use rand_xoshiro::SplitMix64;

use super::anneal::Best;
use super::choose::{Column, JOBS_MAX, Prices, Terms, choose};
use super::load_out::{class_of, is_open, redue};
use super::meeting;
use super::model::Model;
use super::route::{Leg, Route, Visit};
use super::state::State;
use crate::index::{JobIx, UnitIx};
use crate::routing::Cancel;

/// Most days kept.
const KEPT_MAX: usize = 4_000;

/// A crew's day as it was met with.
struct Stint {
    /// The same for days that differ in nothing but order, times and which of like units they take.
    mark: u64,
    column: Column,
    visits: Vec<Visit>,
    legs: Vec<Leg>,
}

impl Stint {
    fn of(state: &State, crew: usize, mark: u64, usable: &[bool]) -> Self {
        let route = &state.routes[crew];
        Self {
            mark,
            column: column(state, crew, usable),
            visits: route.visits.clone(),
            legs: route.legs.clone(),
        }
    }
}

/// The days met with: of those with the same mark the cheapest.
pub(crate) struct Stints {
    kept: Vec<Stint>,
    /// Where the one with a mark is.
    places: HashMap<u64, usize>,
    prices: Prices,
    /// Whether each unit can still be used. What is only carried home counts for nothing.
    usable: Vec<bool>,
}

impl Stints {
    /// None yet. No such thing where the problem is too large for choices.
    pub(crate) fn new(model: &Model) -> Option<Self> {
        if model.problem.jobs().len() > JOBS_MAX {
            return None;
        }
        let begin = model.crews.iter().map(|crew| crew.ready_at).min()?;
        let units = model.problem.units().iter();
        let usable = units.map(|unit| unit.available.iter().any(|window| window.close > begin));
        Some(Self {
            kept: Vec::new(),
            places: HashMap::new(),
            prices: Prices::default(),
            usable: usable.collect(),
        })
    }

    /// Notes the crew's day, unless a unit changes hands in it: it is half of something then.
    pub(crate) fn note(&mut self, state: &State, crew: usize) {
        if is_bound(state, crew) {
            return;
        }
        let mark = mark(state, crew);
        if let Some(&place) = self.places.get(&mark) {
            if state.routes[crew].cost < self.kept[place].column.cost {
                self.kept[place] = Stint::of(state, crew, mark, &self.usable);
            }
            return;
        }
        if self.kept.len() == KEPT_MAX {
            self.thin_out();
        }
        if self.kept.len() < KEPT_MAX {
            self.places.insert(mark, self.kept.len());
            self.kept.push(Stint::of(state, crew, mark, &self.usable));
        }
    }

    /// Puts the best choice of days in place of the present plan, where that is cheaper than the best plan. Whether it is.
    pub(super) fn regroup(&mut self, state: &mut State, best: &Best, cancel: &Cancel) -> bool {
        let present = state.clone();
        state.replace(best.routes.clone(), best.bank.clone(), best.shares.clone());
        let better = self.choose(state, cancel).is_some_and(|stints| {
            install(state, &stints) && state.cost < best.cost && meeting::sound(state, true)
        });
        if !better {
            *state = present;
        }
        state.assert_consistent();
        better
    }

    /// The days by which a better choice differs from the plan, if there is one.
    fn choose(&mut self, state: &State, cancel: &Cancel) -> Option<Vec<&Stint>> {
        let model = state.model;
        let crews = 0..state.routes.len();
        let bound: Vec<bool> = crews.clone().map(|crew| is_bound(state, crew)).collect();
        let usable = &self.usable;
        let present: Vec<Column> = crews.map(|crew| column(state, crew, usable)).collect();
        let mut penalties = vec![0; model.problem.jobs().len()];
        for job in &model.open_jobs {
            penalties[job.ix()] = model.penalties[job.ix()].0;
        }
        let terms = Terms {
            penalties: &penalties,
            units: &units_there(state, usable),
            upper: state.cost.0,
        };
        let free = self.kept.iter().filter(|stint| !bound[stint.column.crew]);
        let present: Vec<&Column> = present.iter().collect();
        let others: Vec<&Column> = free.map(|stint| &stint.column).collect();
        let chosen = choose(&present, &others, &terms, &mut self.prices, cancel)?;
        let is_chosen = |stint: &&Stint| {
            let mut chosen = chosen.iter();
            chosen.any(|column| std::ptr::eq(*column, &raw const stint.column))
        };
        Some(self.kept.iter().filter(is_chosen).collect())
    }

    /// Lets the half go that is farthest from being chosen. Before the first choice nothing is known of that.
    fn thin_out(&mut self) {
        if !self.prices.are_known() {
            return;
        }
        let mut over: Vec<f64> = self
            .kept
            .iter()
            .map(|stint| self.prices.reduced(&stint.column))
            .collect();
        let (_, &mut middle, _) = over.select_nth_unstable_by(self.kept.len() / 2, f64::total_cmp);
        self.kept
            .retain(|stint| self.prices.reduced(&stint.column) < middle);
        self.places.clear();
        self.places.extend(
            self.kept
                .iter()
                .zip(0..)
                .map(|(stint, at)| (stint.mark, at)),
        );
    }
}

/// Whether a unit changes hands in the crew's day, or was to before a change that is given up.
fn is_bound(state: &State, crew: usize) -> bool {
    if meeting::of(&state.routes[crew]).is_some() {
        return true;
    }
    if state.shares.is_empty() {
        return false;
    }
    let day = state.model.crews[crew].day;
    let shared = |unit: &UnitIx| {
        let whole = state.model.whole(*unit);
        let mut shares = state.shares.iter();
        shares.any(|share| (share.day, share.unit) == (day, whole))
    };
    units_of(&state.routes[crew].legs).any(|unit| shared(&unit))
}

/// All units of the legs, each once.
fn units_of(legs: &[Leg]) -> impl Iterator<Item = UnitIx> + '_ {
    let earlier = |at: usize, unit: UnitIx| legs[..at].iter().any(|leg| leg.units.contains(&unit));
    legs.iter().enumerate().flat_map(move |(at, leg)| {
        let units = leg.units.iter().copied();
        units.filter(move |unit| !earlier(at, *unit))
    })
}

/// A number that differs for most days with other jobs or classes.
fn mark(state: &State, crew: usize) -> u64 {
    let route = &state.routes[crew];
    let jobs = route.jobs().map(|job| mixed(job.ix()));
    let units = units_of(&route.legs).map(|unit| mixed(JOBS_MAX + class_at(state, crew, unit)));
    jobs.chain(units)
        .fold(mixed(usize::MAX - crew), u64::wrapping_add)
}

/// Spreads a number over all bits.
fn mixed(number: usize) -> u64 {
    SplitMix64::seed_from_u64(number as u64).next_u64()
}

/// Where the unit's class counts on the crew's day.
fn class_at(state: &State, crew: usize, unit: UnitIx) -> usize {
    let model = state.model;
    model.crews[crew].day * model.units_of_class.len() + usize::from(class_of(model, unit))
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "jobs are few here, and classes by days too"
)]
fn column(state: &State, crew: usize, usable: &[bool]) -> Column {
    let route = &state.routes[crew];
    let jobs = route.jobs().map(|job| job.ix() as u16).collect();
    let units = units_of(&route.legs).filter(|unit| usable[state.model.whole(*unit).ix()]);
    let classes = units
        .map(|unit| class_at(state, crew, unit) as u16)
        .collect();
    Column::new(crew, route.cost, jobs, classes)
}

/// How many units can be used of each class, day by day. One that changes hands counts for both crews.
fn units_there(state: &State, usable: &[bool]) -> Vec<i32> {
    let model = state.model;
    let of_class = model.units_of_class.iter();
    let of_class = of_class.map(|units| units.iter().filter(|unit| usable[unit.ix()]).count());
    let of_class = of_class.map(|count| i32::try_from(count).unwrap_or(i32::MAX));
    let mut count: Vec<i32> = of_class.collect::<Vec<i32>>().repeat(model.days);
    for share in &state.shares {
        let class = usize::from(class_of(model, share.unit));
        count[share.day * model.units_of_class.len() + class] += 1;
    }
    count
}

/// Gives crews these days. Where it is not possible after all the state is left half changed.
fn install(state: &mut State, stints: &[&Stint]) -> bool {
    let model = state.model;
    let mut routes = state.routes.clone();
    // Whoever keeps the day keeps the units.
    let mut held = vec![false; model.problem.units().len() * model.days];
    for (crew, route) in routes.iter().enumerate() {
        let keeps = !stints.iter().any(|stint| stint.column.crew == crew);
        let legs = if keeps {
            &route.legs
        } else {
            aboard(state, crew, &route.legs)
        };
        units_of(legs).for_each(|unit| held[place_of(state, crew, unit)] = true);
    }
    for stint in stints {
        let route = &mut routes[stint.column.crew];
        route.take_day(&stint.visits, &stint.legs);
        if !take_units(state, stint.column.crew, &mut route.legs, &mut held) {
            return false;
        }
    }
    let done: HashSet<JobIx> = routes.iter().flat_map(Route::jobs).collect();
    let mut left_out = model.open_jobs.clone();
    left_out.retain(|job| !done.contains(job));
    state.replace(routes, left_out, state.shares.clone());
    stints.iter().all(|stint| {
        let crew = stint.column.crew;
        let mut route = state.routes[crew].clone();
        let possible = redue(state, crew, &mut route.legs)
            && route.serve(model, crew).is_ok()
            && route.evaluate(&state.clock(crew)).is_ok();
        if possible {
            state.put(crew, &route);
        }
        possible
    })
}

/// Where it is noted whether somebody has the unit on the crew's day.
fn place_of(state: &State, crew: usize, unit: UnitIx) -> usize {
    let model = state.model;
    model.crews[crew].day * model.problem.units().len() + model.whole(unit).ix()
}

/// What is on the crew's vehicle already, whatever it does with its day.
fn aboard<'l>(state: &State, crew: usize, legs: &'l [Leg]) -> &'l [Leg] {
    &legs[..usize::from(!is_open(state.model, crew, 0))]
}

/// Notes that the crew has the units of its legs beside those aboard, which are noted: in place of those that somebody has
/// already others like them. Whether there are such.
fn take_units(state: &State, crew: usize, legs: &mut [Leg], held: &mut [bool]) -> bool {
    let model = state.model;
    let had: Vec<UnitIx> = units_of(legs).collect();
    let aboard: Vec<UnitIx> = units_of(aboard(state, crew, legs)).collect();
    for &unit in had.iter().filter(|unit| !aboard.contains(unit)) {
        let (place, was) = (place_of(state, crew, unit), model.unit(unit));
        if !held[place] {
            held[place] = true;
            continue;
        }
        let of_class = &model.units_of_class[usize::from(class_of(model, unit))];
        let like = of_class.iter().find(|other| {
            let is = model.unit(**other);
            !held[place_of(state, crew, **other)]
                && !had.contains(other)
                && (is.home, &is.available) == (was.home, &was.available)
        });
        let Some(&like) = like else { return false };
        held[place_of(state, crew, like)] = true;
        let names = legs.iter_mut().flat_map(|leg| &mut leg.units);
        names
            .filter(|name| **name == unit)
            .for_each(|name| *name = like);
    }
    for leg in legs {
        leg.units.sort_unstable();
    }
    true
}

#[cfg(test)]
mod tests {
    use std::ops::Range;

    use rand_xoshiro::Xoshiro256PlusPlus;

    use super::*;
    use crate::problem::Progress;
    use crate::replan::{as_of, unit_out};
    use crate::routing::Iterations;
    use crate::search::anneal::{Schedule, anneal};
    use crate::search::load::load;
    use crate::search::removal::remove;
    use crate::search::unload::unload;
    use crate::support::branch_day::{Size, problem};
    use crate::support::two_meetings::{TAKERS, day, job_with_it, planned};
    use crate::{Problem, check};

    /// What a search finds that goes on from a plan.
    fn searched<'m>(from: &State<'m>, schedule: &Schedule, seed: u64) -> State<'m> {
        let mut state = from.clone();
        let schedule = Schedule {
            regroups: false,
            ..*schedule
        };
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(seed);
        let (budget, cancel) = (Iterations(100), Cancel::new());
        anneal(
            &mut state,
            &budget,
            &cancel,
            &schedule,
            &[],
            &mut rng,
            &mut |_| {},
        );
        state
    }

    /// Plans that go on from one of the first seconds in different ways.
    fn plans<'m>(model: &'m Model<'m>) -> Vec<State<'m>> {
        let first = searched(&State::new(model), &Schedule::STANDARD, 1);
        (2..14)
            .map(|seed| searched(&first, &Schedule::GENTLE, seed))
            .collect()
    }

    fn note_all(stints: &mut Stints, state: &State) {
        (0..state.routes.len()).for_each(|crew| stints.note(state, crew));
    }

    /// Days of several plans are put together to a cheaper one, which keeps to the rules: no unit of two crews, for one.
    #[test]
    fn days_of_several_plans_come_together() {
        come_together(0..24, |day| problem(day, Size::BRANCH), 3);
    }

    /// The same for crews that are under way, which go on with what they have aboard.
    #[test]
    fn rests_of_days_of_several_plans_come_together() {
        come_together(
            0..200,
            |day| {
                let problem = problem(day, Size::BRANCH);
                let cancel = Cancel::new();
                let model = Model::new(&problem, &cancel);
                let state = searched(&State::new(&model), &Schedule::STANDARD, 1);
                let now = 10 * 3_600;
                let rest = as_of(&problem, &unload(&state), now);
                let mut aboard = rest.crews().iter().filter_map(|crew| match &crew.progress {
                    Progress::UnderWay(way) => way.aboard.first().copied(),
                    Progress::NotStarted => None,
                });
                let unit = aboard.next().expect("a crew with a unit");
                unit_out(&rest, unit, now)
            },
            3,
        );
    }

    fn come_together(days: Range<u64>, problem: impl Fn(u64) -> Problem, least: usize) {
        let (mut better, mut kept) = (0, 0);
        for day in days {
            let (problem, cancel) = (problem(day), Cancel::new());
            let model = Model::new(&problem, &cancel);
            let mut stints = Stints::new(&model).expect("small enough");
            let mut found = plans(&model);
            for state in &found {
                note_all(&mut stints, state);
            }
            found.sort_by_key(|state| state.cost);
            let best = Best::new(&found[0]);
            let mut state = found.swap_remove(1);
            let before = state.cost;
            if stints.regroup(&mut state, &best, &cancel) {
                better += 1;
                assert!(state.cost < best.cost, "day {day}");
            } else {
                kept += 1;
                assert_eq!(state.cost, before, "day {day}");
            }
            let plan = unload(&state);
            assert_eq!(plan.cost.total(), state.cost, "day {day}");
            check(&problem, &plan).expect("a plan within its rules");
        }
        assert!(better >= least, "{better} better, {kept} as they were");
    }

    /// Of two that meet the one is nothing without the other, even when it has lost what was handed to it.
    #[test]
    fn days_with_a_meeting_are_not_kept() {
        let (problem, plan) = planned(day(2));
        let model = Model::new(&problem, &Cancel::new());
        let mut state = State::new(&model);
        load(&mut state, &plan);
        let mut stints = Stints::new(&model).expect("small enough");
        note_all(&mut stints, &state);
        for taker in TAKERS {
            remove(&mut state, taker, &mut vec![job_with_it(taker)], &mut None);
            assert!(meeting::of(&state.routes[taker]).is_some());
        }
        note_all(&mut stints, &state);
        assert!(stints.kept.is_empty());
    }

    /// Where there is no room, those stay that are nearer to being chosen.
    #[test]
    fn what_is_far_from_being_chosen_goes_first() {
        let (problem, cancel) = (problem(1, Size::BRANCH), Cancel::new());
        let model = Model::new(&problem, &cancel);
        let mut stints = Stints::new(&model).expect("small enough");
        let found = plans(&model);
        for state in &found {
            note_all(&mut stints, state);
        }
        stints.regroup(&mut found[0].clone(), &Best::new(&found[0]), &cancel);
        let over = |stints: &Stints| -> Vec<f64> {
            let kept = stints.kept.iter();
            kept.map(|stint| stints.prices.reduced(&stint.column))
                .collect()
        };
        let mut before = over(&stints);
        before.sort_by(f64::total_cmp);
        stints.thin_out();
        let mut after = over(&stints);
        after.sort_by(f64::total_cmp);
        assert!(before.len() > 20 && !after.is_empty());
        assert_eq!(after[..], before[..after.len()]);
        assert!(after.len() <= before.len() / 2);
        // Those that stayed are found again.
        for (at, stint) in stints.kept.iter().enumerate() {
            assert_eq!(stints.places.get(&stint.mark), Some(&at));
        }
        assert_eq!(stints.places.len(), stints.kept.len());
    }
}
