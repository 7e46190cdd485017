//! Full recomputation of the search's state, for debug builds and tests.

use super::plan::route_cost;
use super::rules::Rules;
use super::state::{NONE, State};

impl<R: Rules> State<'_, R> {
    /// Compares everything kept incrementally with values reckoned afresh. The message names what differs.
    pub(super) fn audit(&self) -> Result<(), String> {
        let rules = self.rules;
        let mut seen = vec![false; self.stops];
        let mut cost = 0;
        for &stop in &self.bank {
            cost += i64::from(rules.skip_cost(stop as usize));
            seen[stop as usize] = true;
        }
        let mut used = 0;
        for route in 0..self.routes.len() {
            let stops: Vec<u32> = self.stops_of(route).collect();
            cost += route_cost(rules, route, &stops).map_err(|fault| fault.to_string())?;
            used += usize::from(!stops.is_empty());
            self.audit_route(route, &stops)?;
            for stop in stops {
                if std::mem::replace(&mut seen[stop as usize], true) {
                    return Err(format!("stop {stop} occurs twice"));
                }
            }
        }
        if let Some(stop) = seen.iter().position(|&seen| !seen) {
            return Err(format!("stop {stop} is lost"));
        }
        if (cost, used) != (self.cost, self.used) {
            return Err(format!(
                "cost {} and {} routes kept, {cost} and {used} found",
                self.cost, self.used
            ));
        }
        Ok(())
    }

    fn audit_route(&self, route: usize, stops: &[u32]) -> Result<(), String> {
        let rules = self.rules;
        let kept = self.routes[route];
        let load: i32 = stops.iter().map(|&stop| rules.demand(stop as usize)).sum();
        if kept.load != load || kept.size as usize != stops.len() {
            return Err(format!("route {route}: load or size kept wrongly"));
        }
        let mut depart = rules.start_time(route);
        let mut place = rules.start_place(route);
        let mut prev = self.start(route);
        for &stop in stops {
            let at = stop as usize;
            let node = self.nodes[at];
            depart = rules.begin(at, rules.arrive(place, at, depart)) + rules.service(route, at);
            let leg = self.nodes[prev].edge;
            if node.depart != depart || leg != rules.cost(place, at) {
                return Err(format!(
                    "route {route}, stop {stop}: departure or leg kept wrongly"
                ));
            }
            if node.prev as usize != prev || node.route as usize != route {
                return Err(format!("route {route}, stop {stop}: links kept wrongly"));
            }
            (place, prev) = (at, at);
        }
        let end = self.end(route);
        if self.nodes[end].prev as usize != prev || self.nodes[end].next != NONE {
            return Err(format!("route {route}: end linked wrongly"));
        }
        let mut latest = rules.end_time(route);
        let mut place = rules.end_place(route);
        for &stop in stops.iter().rev() {
            let at = stop as usize;
            latest = rules.begin_by(
                at,
                rules.leave_by(at, place, latest) - rules.service(route, at),
            );
            if self.nodes[at].latest != latest {
                return Err(format!(
                    "route {route}, stop {stop}: latest beginning kept wrongly"
                ));
            }
            place = at;
        }
        Ok(())
    }
}
