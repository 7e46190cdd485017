//! A look through the positions at which a job could stand in a crew's day.

use rand::RngExt;
use rand_xoshiro::Xoshiro256PlusPlus;

use super::clock::{AT_ONCE, Clock, Step, no_log};
use super::insertion::{Candidate, Care, NewCall};
use super::route::{Leg, Route, check_back};
use crate::Seconds;
use crate::index::JobIx;
use crate::rules::capability::Service;

/// Whether the work alone would make the day too long, wherever it is put.
pub(super) fn is_full(clock: &Clock, route: &Route, work: Seconds) -> bool {
    let even = clock.model.problem.travel().pace().is_none();
    even && route.end.at - route.end.waited + work > clock.data.back_by
}

/// A position worth a closer look.
#[derive(Debug, Clone, Copy)]
pub(super) struct Spot {
    /// What the job costs there at the least.
    least: i64,
    position: usize,
}

/// A look through the positions of one leg.
pub(super) struct Scan<'s> {
    pub(super) clock: &'s Clock<'s>,
    pub(super) route: &'s Route,
    pub(super) leg: usize,
    pub(super) job: JobIx,
    pub(super) service: Service,
    /// Cost of the route as it is in the plan.
    pub(super) base: i64,
    pub(super) load_cost: i64,
    /// How much dearer the route is before the job is in it.
    pub(super) shift: i64,
    pub(super) units_due: Seconds,
}

impl<'s> Scan<'s> {
    pub(super) fn new(
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

    pub(super) fn positions(
        &self,
        care: Care,
        rng: &mut Xoshiro256PlusPlus,
        spots: &mut Vec<Spot>,
        best: &mut Option<Candidate>,
        ceiling: i64,
        change: Option<(&Vec<Leg>, Option<NewCall>)>,
    ) {
        let limit = best.as_ref().map_or(ceiling, |best| best.delta);
        self.survey(care, rng, spots, limit);
        // The most hopeful first, so that few need be walked through. Of equals the earliest counts.
        let mut found: Option<(i64, usize)> = None;
        while let Some(at) = (0..spots.len()).min_by_key(|at| spots[*at].least) {
            let spot = spots.swap_remove(at);
            let (least, latest) = found.unwrap_or((limit, 0));
            if spot.least > least {
                break;
            }
            let wins = |delta| delta < least || (delta == least && spot.position < latest);
            if wins(spot.least)
                && let Some(delta) = self.exact(spot.position)
                && wins(delta)
            {
                found = Some((delta, spot.position));
            }
        }
        if let Some((delta, position)) = found {
            *best = Some(Candidate {
                crew: self.clock.crew_ix,
                position,
                delta,
                change: change.map(|(legs, call)| (legs.clone(), call)),
            });
        }
    }

    /// Notes the positions at which the job might cost less than `limit`, with what it will cost at the least.
    fn survey(&self, care: Care, rng: &mut Xoshiro256PlusPlus, spots: &mut Vec<Spot>, limit: i64) {
        spots.clear();
        let model = self.clock.model;
        let travel = model.problem.travel();
        let data = self.clock.data;
        let times = &model.times[self.job.ix()];
        let drives = model.drives(times.place);
        let latest_start = times.latest_start(self.service.work);
        let own = data.work_rate * self.service.work + self.service.wear;
        let end = &self.route.end;
        let present_end_cost = self.clock.end_cost(end);
        // Where hours differ in pace, drives that are there now may become quicker.
        let even = travel.pace().is_none();
        let tolerance = model.problem.weights().moved_tolerance;
        let back_by = data.back_by.min(self.units_due);
        let floor = self.shift + own;
        let positions = self.route.positions(self.leg);
        // Of each stretch of so many positions one is overlooked.
        let stretch = care.blink as usize;
        let mut overlooked = match care.blink {
            0 => usize::MAX,
            blink => *positions.start() + rng.random_range(0..blink) as usize,
        };
        for position in positions {
            let before = &self.route.steps[position];
            if before.at > latest_start {
                break;
            }
            if position == overlooked {
                overlooked += stretch;
                continue;
            }
            let (inward, inward_metres) = drives.from(self.route.places[position]);
            let (onward_drive, onward_metres) = drives.to(self.route.places[position + 1]);
            let (drive, hop) = (inward + onward_drive, &self.route.hops[position]);
            // Waiting further on may shrink; nothing else can.
            let idle_left = end.waited - before.waited;
            let metres = inward_metres + onward_metres;
            let mut least = floor + data.drive_rate * drive + data.metre_rate * metres
                - hop.cost
                - data.idle_rate * idle_left;
            if least >= limit {
                continue;
            }
            let arrival = before.at + travel.least_of(inward);
            if arrival > latest_start {
                continue;
            }
            // The day grows by this, less the waiting that is left.
            let added = self.service.work + drive - hop.seconds;
            let back_at = end.at + added - idle_left;
            if even && back_at > back_by {
                continue;
            }
            let start = times.earliest_start(arrival, self.service.work);
            let finish = start + self.service.work;
            let onward = finish + travel.least_of(onward_drive);
            if onward > self.route.latest[position] {
                continue;
            }
            if times.priced {
                least += self.clock.least_price(self.job, start, finish);
            }
            if even {
                let late = Step {
                    at: end.at.max(back_at),
                    busy: end.busy + added,
                    exposure: end.exposure + self.service.exposure,
                    ..*end
                };
                least += self.clock.end_cost(&late) - present_end_cost;
                if let Some(stir) = self.route.stir.get(position) {
                    let moved = if added > tolerance { stir.moved } else { 0 };
                    least += model.moved * (i64::from(moved) - i64::from(stir.settled));
                }
                if least >= limit {
                    continue;
                }
            }
            spots.push(Spot { least, position });
        }
    }

    /// The exact growth in cost, or `None` if it is not possible. Walks on from the position only as far as times
    /// differ from the present ones.
    fn exact(&self, position: usize) -> Option<i64> {
        let (clock, route) = (self.clock, self.route);
        let drives = clock.model.drives(clock.model.times[self.job.ix()].place);
        let (seconds, metres) = drives.from(route.places[position]);
        let inward = clock.hop(seconds, metres);
        let (seconds, metres) = drives.to(route.places[position + 1]);
        let away = clock.hop(seconds, metres);
        let mut step = route.steps[position];
        clock.go(&mut step, &inward, &mut no_log).ok()?;
        clock
            .work(&mut step, self.job, &self.service, AT_ONCE, &mut no_log)
            .ok()?;
        let mut onward = &away;
        for next in position..route.visits.len() {
            clock.go(&mut step, onward, &mut no_log).ok()?;
            route.visit(clock, next, &mut step).ok()?;
            onward = &route.hops[next + 1];
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
        clock.go(&mut step, onward, &mut no_log).ok()?;
        check_back(clock, step.at, self.units_due).ok()?;
        Some(step.cost + clock.end_cost(&step) + self.load_cost - self.base)
    }

    /// Leaving visit `next` after this cannot be feasible.
    fn bound_after(&self, next: usize) -> i64 {
        let travel = self.clock.model.problem.travel();
        self.route.latest[next + 1] - travel.least_of(self.route.hops[next + 1].seconds)
    }
}
