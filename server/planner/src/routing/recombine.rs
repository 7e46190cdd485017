//! Recombination of routes met at different times.
//!
//! The best plan is taken cluster by cluster: a route and its neighbours, as many as the small set partitioning problem
//! holds. All routes kept that serve only stops of the cluster are candidates to replace it. Clusters keep the exact
//! problem small enough for milliseconds; a whole plan at once needs a general solver and seconds.

use super::cover::{self, Column, ROWS};
use super::lists::Lists;
use super::pool::{Kept, Pool};

/// Most routes in a cluster.
const CLUSTER: usize = 8;
/// Most candidates in one cluster; the cheapest for the stops they serve are taken.
const CANDIDATES: usize = 600;

/// Replaces routes of a plan by cheaper choices from the pool, until no cluster gets better or `stop` says so. `spare`
/// is how many routes more the plan may use. Gives what was saved.
pub(super) fn recombine(
    plan: &mut Vec<Kept>,
    stops: usize,
    spare: usize,
    lists: &Lists,
    pool: &Pool,
    mut stop: impl FnMut() -> bool,
) -> i64 {
    let kept: Vec<&Kept> = pool.routes().collect();
    let with = index(&kept, stops);
    let mut work = Work {
        row: vec![usize::MAX; stops],
        outside: kept.iter().map(|route| route.stops.len() as u16).collect(),
    };
    let limit = plan.len() + spare;
    let mut saved = 0;
    let mut waiting: Vec<u32> = plan
        .iter()
        .filter_map(|route| route.stops.first().copied())
        .collect();
    let mut owner = vec![0; stops];
    number(plan, &mut owner);
    while let Some(seed) = waiting.pop() {
        if stop() {
            break;
        }
        let cluster = cluster(plan, &owner, owner[seed as usize], lists);
        let most = cluster.len() + limit - plan.len();
        let Some((routes, gain)) = work.improve(plan, &cluster, most, &kept, &with) else {
            continue;
        };
        saved += gain;
        let mut gone = cluster;
        gone.sort_unstable();
        for &at in gone.iter().rev() {
            plan.swap_remove(at);
        }
        waiting.extend(
            routes
                .iter()
                .filter_map(|route| route.stops.first().copied()),
        );
        plan.extend(routes);
        number(plan, &mut owner);
    }
    saved
}

/// Which kept routes serve each stop.
fn index(kept: &[&Kept], stops: usize) -> Vec<Vec<u32>> {
    let mut with = vec![Vec::new(); stops];
    for (at, route) in kept.iter().enumerate() {
        for &stop in &route.stops {
            with[stop as usize].push(at as u32);
        }
    }
    with
}

fn number(plan: &[Kept], owner: &mut [usize]) {
    for (at, route) in plan.iter().enumerate() {
        for &stop in &route.stops {
            owner[stop as usize] = at;
        }
    }
}

/// A route and those with most stops near its stops.
fn cluster(plan: &[Kept], owner: &[usize], seed: usize, lists: &Lists) -> Vec<usize> {
    let mut near = vec![0_u32; plan.len()];
    for &stop in &plan[seed].stops {
        for other in lists.around(stop as usize).iter().take(30) {
            near[owner[other.stop as usize]] += 1;
        }
    }
    near[seed] = u32::MAX;
    let mut order: Vec<usize> = (0..plan.len()).filter(|&at| near[at] > 0).collect();
    order.sort_by_key(|&at| (u32::MAX - near[at], at));
    let mut rows = 0;
    order
        .into_iter()
        .filter(|&at| {
            let fits = rows + plan[at].stops.len() <= ROWS;
            rows += if fits { plan[at].stops.len() } else { 0 };
            fits
        })
        .take(CLUSTER)
        .collect()
}

/// Scratch of the search over clusters.
struct Work {
    /// Position of each stop in the cluster, or `usize::MAX`.
    row: Vec<usize>,
    /// How many stops of each kept route lie outside the cluster. Small, as it is read and written all over.
    outside: Vec<u16>,
}

impl Work {
    fn improve(
        &mut self,
        plan: &[Kept],
        cluster: &[usize],
        most: usize,
        kept: &[&Kept],
        with: &[Vec<u32>],
    ) -> Option<(Vec<Kept>, i64)> {
        let rows: Vec<u32> = cluster
            .iter()
            .flat_map(|&at| plan[at].stops.iter().copied())
            .collect();
        if rows.is_empty() || rows.len() > ROWS {
            return None;
        }
        let cost: i64 = cluster.iter().map(|&at| i64::from(plan[at].cost)).sum();
        let shares: Vec<f64> = cluster
            .iter()
            .flat_map(|&at| {
                let share = f64::from(plan[at].cost) / plan[at].stops.len() as f64;
                std::iter::repeat_n(share, plan[at].stops.len())
            })
            .collect();
        let mut inside = Vec::new();
        for (at, &stop) in rows.iter().enumerate() {
            self.row[stop as usize] = at;
            for &route in &with[stop as usize] {
                let outside = &mut self.outside[route as usize];
                *outside -= 1;
                if *outside == 0 {
                    inside.push(route as usize);
                }
            }
        }
        if inside.len() > CANDIDATES {
            let mut by_worth: Vec<(f64, usize)> = inside
                .iter()
                .map(|&at| {
                    let stops = kept[at].stops.iter();
                    let worth: f64 = stops.map(|&stop| shares[self.row[stop as usize]]).sum();
                    (f64::from(kept[at].cost) - worth, at)
                })
                .collect();
            by_worth.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
            inside.clear();
            inside.extend(by_worth.iter().take(CANDIDATES).map(|&(_, at)| at));
        }
        // The present routes are candidates too: a better choice may keep some.
        let mut routes: Vec<&Kept> = cluster.iter().map(|&at| &plan[at]).collect();
        routes.extend(inside.iter().map(|&at| kept[at]));
        let columns: Vec<Column> = routes.iter().map(|route| self.column(route)).collect();
        let chosen = cover::choose(&columns, rows.len(), cost, most, shares);
        for &stop in &rows {
            self.row[stop as usize] = usize::MAX;
            for &route in &with[stop as usize] {
                self.outside[route as usize] += 1;
            }
        }
        let chosen: Vec<Kept> = chosen?.into_iter().map(|at| routes[at].clone()).collect();
        let now: i64 = chosen.iter().map(|route| i64::from(route.cost)).sum();
        Some((chosen, cost - now))
    }

    fn column(&self, route: &Kept) -> Column {
        let mut bits = [0; ROWS / 64];
        for &stop in &route.stops {
            let row = self.row[stop as usize];
            bits[row / 64] |= 1 << (row % 64);
        }
        Column {
            cost: route.cost,
            bits,
        }
    }
}
