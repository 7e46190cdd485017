//! How much later a stop could begin.

use super::clock::{AT_ONCE, Clock, no_log};
use super::route::{Route, Visit, check_back};
use crate::Seconds;
use crate::index::JobIx;
use crate::rules::{day_end, lateness, time_window};

/// The longest delay looked for.
const SLACK_MAX: Seconds = 24 * 3_600;

/// Start and finish of each visit.
pub(crate) type Timetable = Vec<(Seconds, Seconds)>;

/// For each visit, the largest delay of its start that breaks no hard limit and no promise, and adds no lateness and no
/// overtime, at this and all later stops.
pub(crate) fn slacks(clock: &Clock, route: &Route, times: &Timetable) -> Vec<Seconds> {
    let mut slacks = vec![0; times.len()];
    // What follows may be held up for so long, as far as windows and the end of the day go.
    let mut onward = room_at_end(clock, route);
    for position in (0..times.len()).rev() {
        let guess = onward.min(room_at(clock, route, times, position));
        let slack = slack(clock, route, times, position, guess);
        slacks[position] = slack;
        let arrival = route.steps[position].at + route.hops[position].seconds;
        onward = slack.saturating_add((times[position].0 - arrival).max(0));
    }
    slacks
}

/// How much later the crew may be back.
fn room_at_end(clock: &Clock, route: &Route) -> Seconds {
    let back_by = clock.data.back_by.min(route.units_due());
    back_by.min(clock.crew.shift_end.max(route.end.at)) - route.end.at
}

/// How much later the visit may start, as far as its own times go that are known beforehand.
fn room_at(clock: &Clock, route: &Route, times: &Timetable, position: usize) -> Seconds {
    let (start, finish) = times[position];
    match route.visits[position] {
        Visit::Job(job) => {
            let job = clock.model.problem.job(job);
            let late = job.due.map_or(SLACK_MAX, |due| due.at - finish);
            let promised = job.promise.map_or(SLACK_MAX, |promise| {
                promise.close - promise.met_at(start, finish)
            });
            let window = time_window::latest_start(job, finish - start) - start;
            late.min(promised).min(window)
        }
        Visit::Call(_) | Visit::Meet(_) => route.terms(clock, position).by - finish,
    }
}

/// The largest delay of the start of the visit at `position`, where it mostly is `guess`.
fn slack(
    clock: &Clock,
    route: &Route,
    times: &Timetable,
    position: usize,
    guess: Seconds,
) -> Seconds {
    let holds = |delay| holds(clock, route, times, position, delay).is_some();
    let guess = guess.clamp(0, SLACK_MAX);
    let (mut fits, mut breaks) = (0, SLACK_MAX + 1);
    for probe in [guess, guess + 1] {
        if fits < probe && probe < breaks {
            if holds(probe) {
                fits = probe;
            } else {
                breaks = probe;
            }
        }
    }
    while breaks - fits > 1 {
        let middle = fits + (breaks - fits) / 2;
        if holds(middle) {
            fits = middle;
        } else {
            breaks = middle;
        }
    }
    fits
}

fn holds(
    clock: &Clock,
    route: &Route,
    times: &Timetable,
    position: usize,
    delay: Seconds,
) -> Option<()> {
    let mut step = route.steps[position];
    for (next, &planned) in times.iter().enumerate().skip(position) {
        clock
            .drive(
                &mut step,
                route.place_before(clock, next),
                route.place(clock, next),
                &mut no_log,
            )
            .ok()?;
        let not_before = if next == position {
            planned.0 + delay
        } else {
            AT_ONCE
        };
        let at = match route.visits[next] {
            Visit::Job(job) => {
                let at = clock
                    .work(
                        &mut step,
                        job,
                        &route.services[next].service,
                        not_before,
                        &mut no_log,
                    )
                    .ok()?;
                no_worse(clock, job, planned, (at.start, at.finish))?;
                at
            }
            Visit::Call(_) | Visit::Meet(_) => {
                let terms = route.terms(clock, next);
                let from = not_before.max(terms.from);
                let called = clock.call(&mut step, terms.work, from, &mut no_log);
                let at = called.ok()?;
                (at.finish <= terms.by).then_some(at)?
            }
        };
        if next == position && at.start != planned.0 + delay {
            return None;
        }
    }
    clock
        .drive(
            &mut step,
            route.place_before(clock, route.visits.len()),
            clock.data.end,
            &mut no_log,
        )
        .ok()?;
    check_back(clock, step.at, route.units_due()).ok()?;
    let overtime = day_end::overtime_seconds(clock.crew, step.at);
    (overtime <= day_end::overtime_seconds(clock.crew, route.end.at)).then_some(())
}

fn no_worse(
    clock: &Clock,
    job: JobIx,
    was: (Seconds, Seconds),
    is: (Seconds, Seconds),
) -> Option<()> {
    let weights = clock.model.problem.weights();
    let job = clock.model.problem.job(job);
    let kept = job.promise.is_none_or(|promise| {
        promise.met_at(is.0, is.1) <= promise.close.max(promise.met_at(was.0, was.1))
    });
    let in_time = lateness::cost(job, weights, is.1) <= lateness::cost(job, weights, was.1);
    (kept && in_time).then_some(())
}
