//! From the search's plan to the outward one.

use super::clock::{AT_ONCE, Clock, Step};
use super::load_out::{class_of, is_idle_freight};
use super::route::{Route, Visit as Inner};
use super::slack::{Timetable, slacks};
use super::state::State;
use crate::Seconds;
use crate::cost::{Breakdown, Cost};
use crate::index::{ClassIx, CrewIx, JobIx, UnitIx};
use crate::plan::{BreakTaken, CrewPlan, Plan, Stop, TaskPlan, Totals, Visit};
use crate::problem::{Problem, Progress, Tool};
use crate::rules::sharing::{self, Part};
use crate::rules::{day_end, disturbance, lateness, promise};

/// The plan as the caller sees it.
pub(crate) fn unload(state: &State) -> Plan {
    let mut unplanned = state.bank.clone();
    unplanned.sort_unstable();
    let mut cost = Breakdown::default();
    for job in &unplanned {
        cost.unplanned += state.model.penalties[job.ix()];
    }
    let crews = (0..state.routes.len())
        .map(|crew| unload_crew(state, crew, &mut cost))
        .collect();
    debug_assert!(
        cost.total() == state.cost,
        "the terms do not add up to the search's cost"
    );
    Plan {
        crews,
        unplanned,
        cost,
    }
}

fn unload_crew(state: &State, crew: usize, cost: &mut Breakdown) -> CrewPlan {
    let clock = state.clock(crew);
    let route = &state.routes[crew];
    let mut walk = Walk {
        state,
        clock,
        route,
        step: clock.begin(),
        breaks: Vec::new(),
        times: Vec::new(),
        cost,
    };
    let mut stops = frozen_stops(state.model.problem, crew);
    let frozen = stops.len();
    for position in 0..route.visits.len() {
        let stop = walk.stop(position);
        stops.push(stop);
    }
    walk.home();
    let (step, breaks, times) = (walk.step, walk.breaks, walk.times);
    for (stop, slack) in stops[frozen..]
        .iter_mut()
        .zip(slacks(&clock, route, &times))
    {
        stop.slack_seconds = slack;
    }
    let drive_metres = drive_metres(&clock, route);
    let mut load_out: Vec<UnitIx> = route.legs[0]
        .units
        .iter()
        .map(|unit| state.model.whole(*unit))
        .collect();
    load_out.sort_unstable();
    let drive_seconds = stops[frozen..]
        .iter()
        .map(|stop| stop.drive_seconds)
        .sum::<Seconds>();
    let work_seconds = route
        .services
        .iter()
        .map(|served| served.service.work)
        .sum::<Seconds>()
        + (0..route.visits.len())
            .filter(|position| route.visits[*position].is_call())
            .map(|position| route.terms(&clock, position).work)
            .sum::<Seconds>();
    let totals = Totals {
        drive_seconds: step.busy - work_seconds,
        drive_metres,
        work_seconds,
        wait_seconds: step.waited,
        break_seconds: breaks.iter().map(|rest| rest.finish - rest.start).sum(),
        overtime_seconds: if is_idle(&clock, route) {
            0
        } else {
            day_end::overtime_seconds(clock.crew, step.at)
        },
        exposure: step.exposure,
    };
    debug_assert!(totals.drive_seconds >= drive_seconds);
    let weights = state.model.problem.weights();
    cost.driving += Cost(clock.data.drive_rate * totals.drive_seconds);
    cost.distance += Cost(clock.data.metre_rate * drive_metres);
    cost.work += Cost(clock.data.work_rate * work_seconds);
    cost.idle += Cost(clock.data.idle_rate * totals.wait_seconds);
    cost.wear += Cost(
        route
            .services
            .iter()
            .map(|served| served.service.wear)
            .sum(),
    );
    cost.overtime += day_end::overtime_cost(clock.crew, weights, step.at);
    cost.exposure += day_end::exposure_cost(clock.crew, weights, step.exposure);
    cost.unfair += day_end::unfair_cost(clock.crew, weights, step.busy);
    cost.load_out += Cost(route.load_cost(&clock));
    CrewPlan {
        load_out,
        stops,
        breaks,
        back_at: step.at,
        totals,
    }
}

fn is_idle(clock: &Clock, route: &Route) -> bool {
    route.visits.is_empty() && !clock.data.under_way
}

fn drive_metres(clock: &Clock, route: &Route) -> i64 {
    if is_idle(clock, route) {
        return 0;
    }
    let travel = clock.model.problem.travel();
    (0..=route.visits.len())
        .map(|position| {
            travel.metres(
                route.place_before(clock, position),
                route.place(clock, position),
            )
        })
        .sum()
}

/// A walk through a crew's day that notes everything.
struct Walk<'w, 'c> {
    state: &'w State<'w>,
    clock: Clock<'w>,
    route: &'w Route,
    step: Step,
    breaks: Vec<BreakTaken>,
    times: Timetable,
    cost: &'c mut Breakdown,
}

impl Walk<'_, '_> {
    fn stop(&mut self, position: usize) -> Stop {
        let (clock, route) = (self.clock, self.route);
        let mut log = |start, finish| self.breaks.push(BreakTaken { start, finish });
        let busy = self.step.busy;
        let place = route.place(&clock, position);
        let driven = clock.drive(
            &mut self.step,
            route.place_before(&clock, position),
            place,
            &mut log,
        );
        let drive_seconds = self.step.busy - busy;
        let arrival = self.step.at;
        let visited = match route.visits[position] {
            Inner::Job(job) => clock.work(
                &mut self.step,
                job,
                &route.services[position].service,
                AT_ONCE,
                &mut log,
            ),
            Inner::Call(_) | Inner::Meet(_) => {
                let terms = route.terms(&clock, position);
                clock.call(&mut self.step, terms.work, terms.from, &mut log)
            }
        };
        debug_assert!(
            driven.is_ok() && visited.is_ok(),
            "a plan in the search is always possible"
        );
        let (start, finish, wait_seconds) = visited.map_or((arrival, arrival, 0), |times| {
            (times.start, times.finish, times.waited)
        });
        self.times.push((start, finish));
        let visit = match route.visits[position] {
            Inner::Job(job) => {
                let weights = clock.model.problem.weights();
                let data = clock.model.problem.job(job);
                self.cost.late += lateness::cost(data, weights, finish);
                self.cost.promises += promise::cost(data, weights, start, finish);
                self.cost.disturbance +=
                    disturbance::cost(data, weights, CrewIx::from_ix(clock.crew_ix), start, finish);
                Visit::Job {
                    job,
                    tasks: task_plans(self.state, clock.crew_ix, job, route.leg_at(position)),
                }
            }
            Inner::Call(_) | Inner::Meet(_) => {
                let leg = route.leg_at(position);
                let (before, after) = (&route.legs[leg - 1].units, &route.legs[leg].units);
                let apart = |units: &[UnitIx], from: &[UnitIx]| {
                    let gone = units.iter().filter(|unit| !from.contains(unit));
                    let mut gone: Vec<UnitIx> = gone.map(|unit| clock.model.whole(*unit)).collect();
                    gone.sort_unstable();
                    gone
                };
                let (unload, load) = (apart(before, after), apart(after, before));
                match route.legs[leg].meets {
                    Some((with, _)) => Visit::Meet {
                        with: CrewIx::from_ix(with),
                        give: unload,
                        take: load,
                    },
                    None => Visit::Yard { unload, load },
                }
            }
        };
        Stop {
            visit,
            place,
            drive_seconds,
            arrival,
            start,
            finish,
            wait_seconds,
            slack_seconds: 0,
            frozen: false,
        }
    }

    fn home(&mut self) {
        if is_idle(&self.clock, self.route) {
            return;
        }
        let mut log = |start, finish| self.breaks.push(BreakTaken { start, finish });
        let from = self
            .route
            .place_before(&self.clock, self.route.visits.len());
        let driven = self
            .clock
            .drive(&mut self.step, from, self.clock.data.end, &mut log);
        debug_assert!(driven.is_ok(), "a plan in the search is always possible");
    }
}

fn frozen_stops(problem: &Problem, crew: usize) -> Vec<Stop> {
    let Progress::UnderWay(way) = &problem.crews()[crew].progress else {
        return Vec::new();
    };
    way.frozen
        .iter()
        .map(|stop| Stop {
            visit: Visit::Job {
                job: stop.job,
                tasks: Vec::new(),
            },
            place: problem.job(stop.job).place,
            drive_seconds: 0,
            arrival: stop.arrival,
            start: stop.start,
            finish: stop.finish,
            wait_seconds: stop.start - stop.arrival,
            slack_seconds: 0,
            frozen: true,
        })
        .collect()
}

/// How the crew does the job's tasks in a leg of its day.
fn task_plans(state: &State, crew: usize, job: JobIx, leg_ix: usize) -> Vec<TaskPlan> {
    let (model, legs) = (state.model, &state.routes[crew].legs);
    let (problem, team, leg) = (model.problem, model.crew(crew), &legs[leg_ix]);
    let has = |class: ClassIx| leg.set.has(u16::try_from(class.0).unwrap_or(u16::MAX));
    let unit = |class: ClassIx| -> Option<UnitIx> {
        let mut units = leg.units.iter().copied();
        // Of two alike, one may be aboard only to be carried home.
        let unit = units.find(|unit| {
            u32::from(class_of(model, *unit)) == class.0
                && !is_idle_freight(state, crew, legs, leg_ix, *unit)
        });
        unit.map(|unit| model.whole(unit))
    };
    let mut parts: Vec<Part<ClassIx>> = Vec::new();
    let mut plans: Vec<TaskPlan> = (0..problem.job(job).tasks.len())
        .filter_map(|task| {
            let choices = problem.tool_choices(job, task, team.size);
            let choice = choices
                .iter()
                .find(|choice| choice.tool.classes().all(has))?;
            let lasts = team.paced(choice.seconds);
            let mut classes = choice.tool.classes();
            parts.push(Part {
                lasts,
                bound: team.paced(choice.bound_seconds),
                tools: [classes.next(), classes.next()],
            });
            let (first, second) = match choice.tool {
                Tool::Hand => (None, None),
                Tool::Whole(class) => (unit(class), None),
                Tool::Pair {
                    attachment,
                    powerhead,
                } => (unit(attachment), unit(powerhead)),
            };
            Some(TaskPlan {
                method: choice.method,
                unit: first,
                powerhead: second,
                seconds: lasts,
                wait_seconds: 0,
            })
        })
        .collect();
    if team.size > 1
        && let (wait, Some(tool)) = sharing::wait(&parts)
        && let Some(first) = parts
            .iter()
            .position(|part| part.tools.contains(&Some(tool)))
    {
        plans[first].wait_seconds = wait;
    }
    plans
}
