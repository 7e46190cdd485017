//! The cheapest choice of one day for each crew, such that no job is done twice and there are units enough.
//!
//! Prices of jobs and rents of classes come from a subgradient search (M. Held and R. Karp, The traveling-salesman problem
//! and minimum spanning trees: part II, Mathematical Programming 1, 1971). Days that cannot be in a better choice by these
//! are dropped, and a depth-first search tries the rest, the crew with the fewest first.

use crate::routing::Cancel;

/// Rounds of the search for prices.
const ROUNDS: usize = 60;
/// Rounds without a better bound after which steps are halved.
const PATIENCE: usize = 5;
/// Most days looked at by the depth-first search.
const LOOKS: usize = 400_000;

/// Most jobs in one choice.
pub(super) const JOBS_MAX: usize = 256;

/// A set of jobs, by place.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Jobs([u64; JOBS_MAX / 64]);

impl Jobs {
    fn insert(&mut self, job: usize) {
        self.0[job / 64] |= 1 << (job % 64);
    }

    fn meets(&self, other: &Self) -> bool {
        self.0.iter().zip(&other.0).any(|(a, b)| a & b != 0)
    }
}

/// A day that a crew may have.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Column {
    pub(super) crew: usize,
    pub(super) cost: i64,
    /// Places of its jobs.
    pub(super) list: Vec<u16>,
    set: Jobs,
    /// Classes of the units that it takes up, one for each.
    pub(super) uses: Vec<u16>,
}

impl Column {
    pub(super) fn new(crew: usize, cost: i64, list: Vec<u16>, uses: Vec<u16>) -> Self {
        let mut set = Jobs::default();
        for job in &list {
            set.insert(usize::from(*job));
        }
        Self {
            crew,
            cost,
            list,
            set,
            uses,
        }
    }
}

/// What is given.
pub(super) struct Terms<'t> {
    /// What it costs to leave each job out.
    pub(super) penalties: &'t [i64],
    /// How many units there are of each class.
    pub(super) units: &'t [i32],
    /// What the choice must cost less than.
    pub(super) upper: i64,
}

/// What jobs and classes are worth; good prices are kept from one choice to the next.
#[derive(Debug, Clone, Default)]
pub(super) struct Prices {
    jobs: Vec<f64>,
    rents: Vec<f64>,
}

impl Prices {
    /// Whether there has been a choice.
    pub(super) const fn are_known(&self) -> bool {
        !self.jobs.is_empty()
    }

    /// What the day costs beyond the worth of what it does.
    pub(super) fn reduced(&self, column: &Column) -> f64 {
        let worth = column.list.iter().map(|job| self.jobs[usize::from(*job)]);
        let rent = column
            .uses
            .iter()
            .map(|class| self.rents[usize::from(*class)]);
        column.cost as f64 - worth.sum::<f64>() + rent.sum::<f64>()
    }

    /// At first a job is worth what it costs in the present choice, or to leave it out, and no class has a rent.
    fn begin(&mut self, present: &[&Column], terms: &Terms) {
        self.rents = vec![0.0; terms.units.len()];
        self.jobs = terms.penalties.iter().map(|cost| *cost as f64).collect();
        for column in present {
            let share = column.cost as f64 / column.list.len().max(1) as f64;
            for job in &column.list {
                let price = &mut self.jobs[usize::from(*job)];
                *price = price.min(share);
            }
        }
    }
}

/// Chooses a day for each crew, for less than `upper` in all with what is left out. `present` is a choice already, one for
/// each crew in order. `None` where there is no better one, or none was found within the bound on looks.
pub(super) fn choose<'c>(
    present: &[&'c Column],
    others: &[&'c Column],
    terms: &Terms,
    prices: &mut Prices,
    cancel: &Cancel,
) -> Option<Vec<&'c Column>> {
    if !prices.are_known() {
        prices.begin(present, terms);
    }
    let mut days: Vec<Vec<&Column>> = present.iter().map(|column| vec![*column]).collect();
    for column in others {
        days[column.crew].push(column);
    }
    // All costs are whole numbers: better means better by one at least.
    let goal = terms.upper as f64 - 1.0 + 1e-6;
    let bound = improve(prices, &days, terms, cancel);
    let lower = bound.total;
    if lower > goal || cancel.is_raised() {
        return None;
    }
    let live = days.iter().zip(&bound.least).map(|(days, least)| {
        let over = days
            .iter()
            .map(|column| (prices.reduced(column) - least, *column));
        let mut live: Vec<Live> = over.filter(|(over, _)| lower + over <= goal).collect();
        live.sort_by(|a, b| a.0.total_cmp(&b.0));
        live
    });
    let live: Vec<Vec<Live>> = live.collect();
    if live.iter().any(Vec::is_empty) {
        return None;
    }
    let mut dive = Dive {
        terms,
        goal,
        looks: LOOKS,
        units: terms.units.to_vec(),
        chosen: Vec::new(),
        found: None,
    };
    dive.descend(&live, lower, terms.penalties.iter().sum());
    dive.found
}

/// A day that may be in a better choice, and what it is dearer by than the crew's best.
type Live<'c> = (f64, &'c Column);

/// What every choice costs at the least.
struct Bound {
    total: f64,
    /// The least reduced cost of each crew's days.
    least: Vec<f64>,
}

/// Looks for prices that give a high bound, and leaves the best.
fn improve(prices: &mut Prices, days: &[Vec<&Column>], terms: &Terms, cancel: &Cancel) -> Bound {
    let mut best = (
        prices.clone(),
        Bound {
            total: f64::NEG_INFINITY,
            least: Vec::new(),
        },
    );
    let (mut pace, mut idle) = (1.0, 0);
    let upper = terms.upper as f64;
    for _ in 0..ROUNDS {
        let (bound, slope) = bound(prices, days, terms);
        let gap = upper - bound.total;
        if bound.total > best.1.total {
            best = (prices.clone(), bound);
            idle = 0;
        } else {
            idle += 1;
            if idle == PATIENCE {
                (pace, idle) = (pace / 2.0, 0);
            }
        }
        if gap <= 1.0 || cancel.is_raised() || !slope.climb(prices, pace * gap, terms) {
            break;
        }
    }
    *prices = best.0;
    best.1
}

/// Where the bound grows.
struct Slope {
    /// Of each job, how often it is not done in the choice by these prices: 1 to minus the count of crews.
    jobs: Vec<f64>,
    /// Of each class, how many units that choice takes beyond what there are.
    rents: Vec<f64>,
}

/// The bound that prices give: each crew by itself takes its best day.
fn bound(prices: &Prices, days: &[Vec<&Column>], terms: &Terms) -> (Bound, Slope) {
    let mut slope = Slope {
        jobs: vec![1.0; prices.jobs.len()],
        rents: terms.units.iter().map(|count| -f64::from(*count)).collect(),
    };
    let mut total: f64 = prices.jobs.iter().sum();
    total += prices
        .rents
        .iter()
        .zip(&slope.rents)
        .map(|(rent, short)| rent * short)
        .sum::<f64>();
    let mut least = Vec::with_capacity(days.len());
    for of_crew in days {
        let reduced = of_crew
            .iter()
            .map(|column| (prices.reduced(column), *column));
        let Some((cost, column)) = reduced.min_by(|a, b| a.0.total_cmp(&b.0)) else {
            continue;
        };
        total += cost;
        least.push(cost);
        for job in &column.list {
            slope.jobs[usize::from(*job)] -= 1.0;
        }
        for class in &column.uses {
            slope.rents[usize::from(*class)] += 1.0;
        }
    }
    (Bound { total, least }, slope)
}

impl Slope {
    /// Moves the prices up the slope by a step of the length `reach` over its steepness. Whether there is a way up.
    fn climb(mut self, prices: &mut Prices, reach: f64, terms: &Terms) -> bool {
        // No job is worth more than leaving it out costs, and no rent is below nothing.
        for ((slope, price), most) in self.jobs.iter_mut().zip(&prices.jobs).zip(terms.penalties) {
            if *slope > 0.0 && *price >= *most as f64 {
                *slope = 0.0;
            }
        }
        for (slope, rent) in self.rents.iter_mut().zip(&prices.rents) {
            if *slope < 0.0 && *rent <= 0.0 {
                *slope = 0.0;
            }
        }
        let steepness: f64 = self
            .jobs
            .iter()
            .chain(&self.rents)
            .map(|slope| slope * slope)
            .sum();
        if steepness == 0.0 {
            return false;
        }
        let step = reach / steepness;
        for ((price, slope), most) in prices.jobs.iter_mut().zip(&self.jobs).zip(terms.penalties) {
            *price = (*price + step * slope).min(*most as f64);
        }
        for (rent, slope) in prices.rents.iter_mut().zip(&self.rents) {
            *rent = (*rent + step * slope).max(0.0);
        }
        true
    }
}

/// The depth-first search.
struct Dive<'t, 'c> {
    terms: &'t Terms<'t>,
    goal: f64,
    looks: usize,
    /// Units of each class that are left.
    units: Vec<i32>,
    chosen: Vec<&'c Column>,
    found: Option<Vec<&'c Column>>,
}

impl<'c> Dive<'_, 'c> {
    /// Goes on with the crews whose days are `live`, each list sorted and not empty. `bound` is what a choice with the
    /// chosen days costs at the least, `left` what it costs to leave out what they do not do.
    fn descend(&mut self, live: &[Vec<Live<'c>>], bound: f64, left: i64) {
        let least: f64 = live.iter().map(|days| days[0].0).sum();
        let goes = |over: f64, goal: f64| bound + least + over <= goal;
        let within = |days: &[Live]| {
            let first = days[0].0;
            days.iter()
                .take_while(|(over, _)| goes(over - first, self.goal))
                .count()
        };
        let Some(next) = (0..live.len()).min_by_key(|&at| within(&live[at])) else {
            let cost = left + self.chosen.iter().map(|column| column.cost).sum::<i64>();
            if cost as f64 <= self.goal {
                self.goal = cost as f64 - 1.0 + 1e-6;
                self.found = Some(self.chosen.clone());
            }
            return;
        };
        for &(over, column) in &live[next] {
            if self.looks == 0 || !goes(over - live[next][0].0, self.goal) {
                return;
            }
            let classes = || column.uses.iter().map(|class| usize::from(*class));
            classes().for_each(|class| self.units[class] -= 1);
            if classes().all(|class| self.units[class] >= 0)
                && let Some(rest) = self.beside(column, live, next)
            {
                let penalties = column
                    .list
                    .iter()
                    .map(|job| self.terms.penalties[usize::from(*job)]);
                let left = left - penalties.sum::<i64>();
                self.chosen.push(column);
                self.descend(&rest, bound + over, left);
                self.chosen.pop();
            }
            classes().for_each(|class| self.units[class] += 1);
        }
    }

    /// What the other crews may still have beside a day; none where one of them has nothing left.
    fn beside(
        &mut self,
        column: &Column,
        live: &[Vec<Live<'c>>],
        next: usize,
    ) -> Option<Vec<Vec<Live<'c>>>> {
        let others = live.iter().enumerate().filter(|(at, _)| *at != next);
        let mut rest = Vec::with_capacity(live.len() - 1);
        for (_, days) in others {
            self.looks = self.looks.saturating_sub(days.len());
            let fits = |(_, other): &&Live| {
                let mut classes = other.uses.iter();
                !other.set.meets(&column.set)
                    && classes.all(|class| self.units[usize::from(*class)] > 0)
            };
            let left: Vec<Live> = days.iter().filter(fits).copied().collect();
            if left.is_empty() {
                return None;
            }
            rest.push(left);
        }
        Some(rest)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Cheapest choice by trying all.
    fn brute(days: &[Vec<&Column>], terms: &Terms) -> i64 {
        let choices = days.iter().map(Vec::len).product::<usize>();
        (0..choices)
            .filter_map(|mut number| {
                let mut done = Jobs::default();
                let mut units = terms.units.to_vec();
                let mut cost: i64 = terms.penalties.iter().sum();
                for of_crew in days {
                    let column = of_crew[number % of_crew.len()];
                    number /= of_crew.len();
                    if done.meets(&column.set) {
                        return None;
                    }
                    cost += column.cost;
                    for job in &column.list {
                        done.insert(usize::from(*job));
                        cost -= terms.penalties[usize::from(*job)];
                    }
                    for class in &column.uses {
                        units[usize::from(*class)] -= 1;
                        if units[usize::from(*class)] < 0 {
                            return None;
                        }
                    }
                }
                Some(cost)
            })
            .min()
            .expect("the present choice")
    }

    fn day(rng: &mut fastrand::Rng, crew: usize, jobs: usize, classes: usize) -> Column {
        let third = |rng: &mut fastrand::Rng, count: usize| -> Vec<u16> {
            let places = (0..).take(count);
            places.filter(|_| rng.u8(..3) == 0).collect()
        };
        let list = third(rng, jobs);
        let cost = list.iter().map(|_| rng.i64(2..30)).sum::<i64>() + rng.i64(0..12);
        let uses = third(rng, classes);
        Column::new(crew, cost, list, uses)
    }

    /// Guards the bounds: on small random problems, asking for less than the optimum + 1 must give the optimum, and
    /// asking for less than the optimum must give nothing.
    #[test]
    fn finds_the_cheapest_choice() {
        let mut rng = fastrand::Rng::with_seed(11);
        let (mut busy, mut short) = (0, 0);
        for _ in 0..400 {
            let (crews, jobs, classes) = (rng.usize(1..5), rng.usize(1..9), rng.usize(1..4));
            let penalties: Vec<i64> = (0..jobs).map(|_| rng.i64(10..60)).collect();
            let units: Vec<i32> = (0..classes).map(|_| rng.i32(0..3)).collect();
            let idle: Vec<Column> = (0..crews).map(|crew| day(&mut rng, crew, 0, 0)).collect();
            let others: Vec<Column> = (0..rng.usize(1..25))
                .map(|_| {
                    let crew = rng.usize(..crews);
                    day(&mut rng, crew, jobs, classes)
                })
                .collect();
            let present: Vec<&Column> = idle.iter().collect();
            let others: Vec<&Column> = others.iter().collect();
            let mut days: Vec<Vec<&Column>> = present.iter().map(|one| vec![*one]).collect();
            for one in &others {
                days[one.crew].push(one);
            }
            let terms = |upper| Terms {
                penalties: &penalties,
                units: &units,
                upper,
            };
            let ask = |upper| {
                let mut prices = Prices::default();
                let cancel = Cancel::new();
                choose(&present, &others, &terms(upper), &mut prices, &cancel)
            };
            let optimum = brute(&days, &terms(0));
            let found = ask(optimum + 1).expect("the optimum");
            let chosen: Vec<Vec<&Column>> = found.iter().map(|one| vec![*one]).collect();
            assert_eq!(brute(&chosen, &terms(0)), optimum);
            assert_eq!(ask(optimum), None);
            let plenty = [9; 3];
            let unlimited = Terms {
                units: &plenty[..classes],
                ..terms(0)
            };
            busy += usize::from(found.iter().any(|one| !one.list.is_empty()));
            short += usize::from(brute(&days, &unlimited) < optimum);
        }
        assert!(busy > 200 && short > 50, "{busy} {short}");
    }
}
