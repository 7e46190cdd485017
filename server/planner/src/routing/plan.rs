//! The plan as the caller sees it, and its full evaluation.

use super::rules::Rules;

/// A finished plan: the stops of each used route in order, and the stops left out.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct RoutePlan {
    /// Route number and its stops; unused routes are absent.
    pub routes: Vec<(usize, Vec<u32>)>,
    /// Stops left out.
    pub skipped: Vec<u32>,
    /// Total cost.
    pub cost: i64,
}

/// Why a plan is not valid.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PlanFault {
    /// A stop missing from the plan, or in it more than once.
    #[error("stop {stop} is in the plan {times} times")]
    Times {
        /// Stop.
        stop: usize,
        /// Times found.
        times: usize,
    },
    /// A stop or route number the problem does not know.
    #[error("the problem has no stop or route {number}")]
    Unknown {
        /// Number found.
        number: usize,
    },
    /// A stop whose service cannot begin in a window.
    #[error("stop {stop} is reached too late")]
    Late {
        /// Stop.
        stop: usize,
    },
    /// A stop its route may not serve.
    #[error("route {route} may not serve stop {stop}")]
    Refused {
        /// Route.
        route: usize,
        /// Stop.
        stop: usize,
    },
    /// A route over its capacity or its end time.
    #[error("route {route} exceeds its {limit}")]
    Exceeded {
        /// Route.
        route: usize,
        /// Which limit.
        limit: &'static str,
    },
}

impl RoutePlan {
    /// Cost of the plan reckoned afresh from the rules, or the first fault.
    ///
    /// Cost = sum over used routes of (opening + legs + assignments + end) + skip costs.
    ///
    /// # Errors
    ///
    /// The first fault found.
    pub fn evaluate<R: Rules>(&self, rules: &R) -> Result<i64, PlanFault> {
        let mut times = vec![0_usize; rules.stops()];
        let mut route_times = vec![0_usize; rules.routes()];
        let mut cost = 0;
        for &stop in &self.skipped {
            let number = stop as usize;
            *times.get_mut(number).ok_or(PlanFault::Unknown { number })? += 1;
            cost += i64::from(rules.skip_cost(number));
        }
        for (route, stops) in &self.routes {
            let seen = route_times
                .get_mut(*route)
                .ok_or(PlanFault::Unknown { number: *route })?;
            *seen += 1;
            if *seen > 1 {
                return Err(PlanFault::Exceeded {
                    route: *route,
                    limit: "one use",
                });
            }
            for &stop in stops {
                let number = stop as usize;
                *times.get_mut(number).ok_or(PlanFault::Unknown { number })? += 1;
            }
            cost += route_cost(rules, *route, stops)?;
        }
        match times.iter().position(|&count| count != 1) {
            Some(stop) => Err(PlanFault::Times {
                stop,
                times: times[stop],
            }),
            None => Ok(cost),
        }
    }
}

/// Cost of one used route reckoned afresh.
pub(super) fn route_cost<R: Rules>(
    rules: &R,
    route: usize,
    stops: &[u32],
) -> Result<i64, PlanFault> {
    if stops.is_empty() {
        return Ok(0);
    }
    let mut cost = i64::from(rules.open_cost(route));
    let mut load = 0_i64;
    let mut place = rules.start_place(route);
    let mut time = rules.start_time(route);
    for &stop in stops {
        let stop = stop as usize;
        let assign = rules
            .assign_cost(route, stop)
            .ok_or(PlanFault::Refused { route, stop })?;
        cost += i64::from(assign) + i64::from(rules.cost(place, stop));
        load += i64::from(rules.demand(stop));
        let begin = rules.begin(stop, rules.arrive(place, stop, time));
        if begin == i32::MAX {
            return Err(PlanFault::Late { stop });
        }
        time = begin + rules.service(route, stop);
        place = stop;
    }
    let end = rules.end_place(route);
    time = rules.arrive(place, end, time);
    cost += i64::from(rules.cost(place, end)) + i64::from(rules.end_cost(route, time));
    if time > rules.end_time(route) {
        return Err(PlanFault::Exceeded {
            route,
            limit: "end time",
        });
    }
    if load > i64::from(rules.capacity(route)) {
        return Err(PlanFault::Exceeded {
            route,
            limit: "capacity",
        });
    }
    Ok(cost)
}
