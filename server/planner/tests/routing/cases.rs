//! Random problems, and a checker of plans with code of its own.

use forenoon_planner::routing::{RoutePlan, Uniform, Visit};

/// The raw numbers of a plain problem; the depot is the last point.
pub(crate) struct Plain {
    pub(crate) points: Vec<(i64, i64)>,
    pub(crate) visits: Vec<Visit>,
    pub(crate) depot: Visit,
    pub(crate) vehicles: usize,
    pub(crate) capacity: i64,
}

impl Plain {
    /// A problem of `count` stops in a square; about half of the windows are narrow.
    pub(crate) fn random(count: usize, vehicles: usize, seed: u64) -> Self {
        let mut rng = fastrand::Rng::with_seed(seed);
        let mut points: Vec<_> = (0..count)
            .map(|_| (rng.i64(0..1000), rng.i64(0..1000)))
            .collect();
        points.push((rng.i64(300..700), rng.i64(300..700)));
        let end = 6000;
        let mut plain = Self {
            points,
            visits: Vec::new(),
            depot: Visit {
                demand: 0,
                open: 0,
                close: end,
                service: 0,
            },
            vehicles,
            capacity: rng.i64(40..120),
        };
        for stop in 0..count {
            let leg = plain.distance(stop, count);
            let service = rng.i64(0..200);
            let last = end - leg - service;
            let (open, close) = if rng.bool() {
                let open = rng.i64(leg..=last);
                (open, (open + rng.i64(50..800)).min(last))
            } else {
                (0, last)
            };
            plain.visits.push(Visit {
                demand: rng.i64(1..30),
                open,
                close,
                service,
            });
        }
        plain
    }

    pub(crate) fn distance(&self, from: usize, to: usize) -> i64 {
        let ((ax, ay), (bx, by)) = (self.points[from], self.points[to]);
        (((ax - bx).pow(2) + (ay - by).pow(2)) as u64)
            .isqrt()
            .cast_signed()
    }

    pub(crate) fn problem(&self) -> Uniform {
        Uniform::new(
            &self.visits,
            self.depot,
            self.vehicles,
            self.capacity,
            |from, to| self.distance(from, to),
        )
        .unwrap_or_else(|faults| panic!("{faults:?}"))
    }

    /// Length of a tour over the given stops, or `None` when it breaks a window, the end or the load.
    pub(crate) fn tour(&self, stops: &[usize]) -> Option<i64> {
        let home = self.visits.len();
        let (mut at, mut time, mut length, mut load) = (home, self.depot.open, 0, 0);
        for &stop in stops {
            let visit = self.visits[stop];
            length += self.distance(at, stop);
            time = (time + self.distance(at, stop)).max(visit.open);
            load += visit.demand;
            if time > visit.close || load > self.capacity {
                return None;
            }
            time += visit.service;
            at = stop;
        }
        let back = self.distance(at, home);
        (time + back <= self.depot.close).then_some(length + back)
    }

    /// Length of a plan that serves every stop once, or what is wrong with it.
    pub(crate) fn check(&self, plan: &RoutePlan) -> Result<i64, String> {
        let mut seen = vec![0; self.visits.len()];
        let mut length = 0;
        if plan.routes.len() > self.vehicles {
            return Err("too many routes".to_owned());
        }
        for (route, stops) in &plan.routes {
            let stops: Vec<usize> = stops.iter().map(|&stop| stop as usize).collect();
            for &stop in &stops {
                seen[stop] += 1;
            }
            length += self
                .tour(&stops)
                .ok_or_else(|| format!("route {route} is not feasible"))?;
        }
        match seen.iter().position(|&times| times != 1) {
            Some(stop) => Err(format!("stop {stop} is served {} times", seen[stop])),
            None => Ok(length),
        }
    }
}

/// All orders of the items.
pub(crate) fn orders(items: &[usize]) -> Vec<Vec<usize>> {
    if items.is_empty() {
        return vec![Vec::new()];
    }
    (0..items.len())
        .flat_map(|first| {
            let mut rest = items.to_vec();
            let head = rest.remove(first);
            orders(&rest).into_iter().map(move |mut order| {
                order.insert(0, head);
                order
            })
        })
        .collect()
}
