//! A problem that uses everything the rules can say, against brute force.

use forenoon_planner::routing::{Cancel, Iterations, Options, RoutePlan, Rules, solve};

use crate::cases::orders;

/// Unlike routes: own yards, shifts, service times, refusals, overtime and a charge for use; stops with two windows,
/// some left out at a price; travel times that are neither symmetric nor equal to costs.
struct Rich {
    stops: usize,
    routes: usize,
    cost: Vec<i32>,
    time: Vec<i32>,
    windows: Vec<[(i32, i32); 2]>,
    service: Vec<i32>,
    assign: Vec<Option<i32>>,
    skip: Vec<i32>,
    shift: Vec<(i32, i32)>,
    overtime_from: Vec<i32>,
    locked: Vec<bool>,
}

impl Rich {
    fn random(seed: u64) -> Self {
        let mut rng = fastrand::Rng::with_seed(seed);
        let (stops, routes) = (rng.usize(2..6), rng.usize(1..4));
        let places = stops + 2 * routes;
        // Both tables keep the triangle inequality: all entries lie between a number and its double.
        let table = |rng: &mut fastrand::Rng| {
            (0..places * places)
                .map(|_| rng.i32(50..=100))
                .collect::<Vec<_>>()
        };
        let (cost, time) = (table(&mut rng), table(&mut rng));
        let windows = (0..stops)
            .map(|_| {
                let first = rng.i32(0..300);
                let second = first + rng.i32(150..300);
                [
                    (first, first + rng.i32(20..120)),
                    (second, second + rng.i32(20..200)),
                ]
            })
            .collect();
        Self {
            stops,
            routes,
            cost,
            time,
            windows,
            service: (0..stops * routes).map(|_| rng.i32(10..80)).collect(),
            assign: (0..stops * routes)
                .map(|_| (rng.u8(..4) > 0).then(|| rng.i32(0..60)))
                .collect(),
            skip: (0..stops).map(|_| rng.i32(50..400)).collect(),
            shift: (0..routes)
                .map(|_| (rng.i32(0..80), rng.i32(500..900)))
                .collect(),
            overtime_from: (0..routes).map(|_| rng.i32(300..600)).collect(),
            locked: vec![false; stops],
        }
    }

    /// Cost of a route by this file's own reckoning.
    fn route(&self, route: usize, order: &[usize]) -> Option<i64> {
        if order.is_empty() {
            return Some(0);
        }
        let places = self.stops + 2 * self.routes;
        let (mut at, mut time) = (self.stops + route, self.shift[route].0);
        let mut cost = 25 + route as i64;
        let mut load = 0;
        for &stop in order {
            cost += i64::from(self.cost[at * places + stop])
                + i64::from(self.assign[route * self.stops + stop]?);
            time += self.time[at * places + stop];
            let [first, second] = self.windows[stop];
            time = if time <= first.1 {
                time.max(first.0)
            } else if time <= second.1 {
                time.max(second.0)
            } else {
                return None;
            };
            time += self.service[route * self.stops + stop];
            load += 1 + stop as i32;
            at = stop;
        }
        let end = self.stops + self.routes + route;
        time += self.time[at * places + end];
        cost += i64::from(self.cost[at * places + end]);
        cost += i64::from((time - self.overtime_from[route]).max(0));
        (time <= self.shift[route].1 && load <= 9).then_some(cost)
    }

    /// Least cost over all ways to give each stop to a route or to none.
    fn optimum(&self) -> i64 {
        let choices = self.routes + 1;
        (0..choices.pow(self.stops as u32))
            .filter_map(|code| {
                let place = |stop: usize| code / choices.pow(stop as u32) % choices;
                let skipped = (0..self.stops).filter(|&stop| place(stop) == self.routes);
                let mut total: i64 = skipped.map(|stop| i64::from(self.skip[stop])).sum();
                for route in 0..self.routes {
                    let stops: Vec<usize> = (0..self.stops)
                        .filter(|&stop| place(stop) == route)
                        .collect();
                    total += orders(&stops)
                        .iter()
                        .filter_map(|order| self.route(route, order))
                        .min()?;
                }
                Some(total)
            })
            .min()
            .unwrap_or(i64::MAX)
    }
}

impl Rules for Rich {
    const END_COST: bool = true;
    const ADMISSION: bool = true;
    const LOCKS: bool = true;

    fn stops(&self) -> usize {
        self.stops
    }
    fn routes(&self) -> usize {
        self.routes
    }
    fn places(&self) -> usize {
        self.stops + 2 * self.routes
    }
    fn cost(&self, from: usize, to: usize) -> i32 {
        self.cost[from * self.places() + to]
    }
    fn arrive(&self, from: usize, to: usize, depart: i32) -> i32 {
        depart + self.time[from * self.places() + to]
    }
    fn leave_by(&self, from: usize, to: usize, by: i32) -> i32 {
        by - self.time[from * self.places() + to]
    }
    fn begin(&self, stop: usize, arrive: i32) -> i32 {
        let window = self.windows[stop].iter().find(|window| arrive <= window.1);
        window.map_or(i32::MAX, |window| arrive.max(window.0))
    }
    fn begin_by(&self, stop: usize, by: i32) -> i32 {
        let window = self.windows[stop]
            .iter()
            .rev()
            .find(|window| by >= window.0);
        window.map_or(-1, |window| by.min(window.1))
    }
    fn service(&self, route: usize, stop: usize) -> i32 {
        self.service[route * self.stops + stop]
    }
    fn service_least(&self, stop: usize) -> i32 {
        (0..self.routes)
            .map(|route| self.service(route, stop))
            .min()
            .unwrap_or(0)
    }
    fn skip_cost(&self, stop: usize) -> i32 {
        self.skip[stop]
    }
    fn demand(&self, stop: usize) -> i32 {
        1 + stop as i32
    }
    fn capacity(&self, _route: usize) -> i32 {
        9
    }
    fn start_place(&self, route: usize) -> usize {
        self.stops + route
    }
    fn end_place(&self, route: usize) -> usize {
        self.stops + self.routes + route
    }
    fn start_time(&self, route: usize) -> i32 {
        self.shift[route].0
    }
    fn end_time(&self, route: usize) -> i32 {
        self.shift[route].1
    }
    fn open_cost(&self, route: usize) -> i32 {
        25 + route as i32
    }
    fn kind(&self, route: usize) -> usize {
        route
    }
    fn end_cost(&self, route: usize, time: i32) -> i32 {
        (time - self.overtime_from[route]).max(0)
    }
    fn assign_cost(&self, route: usize, stop: usize) -> Option<i32> {
        self.assign[route * self.stops + stop]
    }
    fn locked(&self, stop: usize) -> bool {
        self.locked[stop]
    }
}

fn run(rich: &Rich, start: Option<RoutePlan>, iterations: u64) -> RoutePlan {
    let options = Options {
        seed: 1,
        start,
        ..Options::default()
    };
    solve(rich, &options, &Iterations(iterations), &Cancel::new())
        .unwrap_or_else(|error| panic!("{error}"))
        .plan
}

/// Guards every rule beyond the plain problem: the engine must find the optimum of brute force, which reckons each rule
/// by its own code. Some problems must leave stops out and some must not, or the price was never weighed.
#[test]
fn rich_problems_are_solved_to_the_optimum() {
    let (mut whole, mut partial) = (0, 0);
    for seed in 0..150 {
        let rich = Rich::random(seed);
        let plan = run(&rich, None, 4_000);
        assert_eq!(plan.evaluate(&rich), Ok(plan.cost), "seed {seed}");
        assert_eq!(plan.cost, rich.optimum(), "seed {seed}");
        if plan.skipped.is_empty() {
            whole += 1;
        } else {
            partial += 1;
        }
    }
    assert!(whole > 20 && partial > 20, "{whole} {partial}");
}

/// Guards locked stops: the first stop of a route, once locked, stays first on its route whatever the search does.
/// The iterations are enough for cycles that would begin from a new first plan.
#[test]
fn a_locked_stop_keeps_its_place() {
    let mut locked = 0;
    for seed in 200..260 {
        let mut rich = Rich::random(seed);
        let plan = run(&rich, None, 4_000);
        let Some((route, first)) = plan.routes.first().map(|(route, stops)| (*route, stops[0]))
        else {
            continue;
        };
        rich.locked[first as usize] = true;
        // Make its place dear, so that only the lock can hold it there.
        rich.assign[route * rich.stops + first as usize] = Some(5_000);
        rich.skip[first as usize] = 1;
        let mut start = plan;
        start.cost = start
            .evaluate(&rich)
            .unwrap_or_else(|fault| panic!("{fault}"));
        let again = run(&rich, Some(start), 20_000);
        let kept = again
            .routes
            .iter()
            .find(|(other, _)| *other == route)
            .map(|(_, stops)| stops[0]);
        assert_eq!(kept, Some(first), "seed {seed}");
        locked += 1;
    }
    assert!(locked > 30, "{locked}");
}
