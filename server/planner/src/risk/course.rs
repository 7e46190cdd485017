//! One crew's day, act by act, to be lived through many times.

use super::draw::Length;
use super::links::{ActIx, Link, Links, open_stops};
use crate::Seconds;
use crate::index::{CrewIx, JobIx, PlaceIx, UnitIx};
use crate::plan::{CrewPlan, Plan, Stop, TaskPlan, Visit};
use crate::problem::{Bound, Crew, Job, Problem};
use crate::rules::capability::Service;
use crate::search::clock::{AT_ONCE, Clock, Step, no_log};
use crate::search::model::Model;
use crate::search::route::Hop;

/// A crew's day.
pub(super) struct Course<'c> {
    problem: &'c Problem,
    clock: Clock<'c>,
    pub(super) acts: Vec<Act>,
}

/// What a crew does next.
pub(super) struct Act {
    /// The drive there, if there is one.
    hop: Option<Hop>,
    doing: Doing,
    pub(super) awaits: Awaits,
    /// It does not begin before, whoever is there.
    pub(super) not_before: Seconds,
    /// When it begins by the plan.
    pub(super) planned: Seconds,
}

/// What an act is.
enum Doing {
    SetOut,
    Work(Work),
    /// Units are changed for so long.
    Change(Seconds),
    GoHome,
}

/// Work at a job.
pub(super) struct Work {
    pub(super) job: JobIx,
    pub(super) length: Length,
    noisy: bool,
}

/// Whom an act waits for.
pub(super) enum Awaits {
    Nobody,
    /// Those who put units down.
    Givers(Vec<ActIx>),
    /// The crew it meets.
    Other(ActIx),
}

/// How a crew stands after an act.
#[derive(Debug, Clone, Copy)]
pub(super) struct Mark {
    pub(super) step: Step,
    /// Overtime and lateness so far, seconds.
    pub(super) trouble: Seconds,
    /// The act was work at a job whose promise was kept.
    pub(super) kept: bool,
}

impl<'c> Course<'c> {
    pub(super) fn new(
        (problem, plan): (&'c Problem, &Plan),
        model: &'c Model<'c>,
        links: &Links,
        crew: usize,
    ) -> Self {
        let mut course = Self {
            problem,
            clock: Clock::new(model, crew),
            acts: Vec::new(),
        };
        let day = &plan.crews[crew];
        let awaited = |act| links.to(ActIx { crew, act });
        course.acts.push(Act {
            hop: None,
            doing: Doing::SetOut,
            awaits: Awaits::of(awaited(0)),
            not_before: AT_ONCE,
            planned: AT_ONCE,
        });
        let mut place = course.clock.data.from;
        for (act, stop) in open_stops(day) {
            course.acts.push(Act {
                hop: Some(course.hop(place, stop.place)),
                doing: course.doing(stop),
                awaits: Awaits::of(awaited(act)),
                not_before: not_before(problem, day, stop, awaited(act)),
                planned: stop.start,
            });
            place = stop.place;
        }
        let goes_home = course.acts.len() > 1 || course.clock.data.under_way;
        course.acts.push(Act {
            hop: goes_home.then(|| course.hop(place, course.clock.data.end)),
            doing: Doing::GoHome,
            awaits: Awaits::Nobody,
            not_before: AT_ONCE,
            planned: AT_ONCE,
        });
        course
    }

    fn hop(&self, from: PlaceIx, to: PlaceIx) -> Hop {
        let travel = self.problem.travel();
        self.clock
            .hop(travel.table_seconds(from, to), travel.metres(from, to))
    }

    fn doing(&self, stop: &Stop) -> Doing {
        let call = match &stop.visit {
            Visit::Job { job, tasks } => {
                return Doing::Work(Work {
                    job: *job,
                    length: Length::new(self.problem, self.clock.crew.size, *job, tasks),
                    noisy: is_noisy(self.problem, tasks),
                });
            }
            Visit::Yard { .. } => self.clock.crew.yard_at(stop.place),
            Visit::Meet { .. } => None,
        };
        Doing::Change(call.map_or(stop.finish - stop.start, |call| call.seconds))
    }

    /// What work there is, with the acts' numbers.
    pub(super) fn works(&self) -> impl Iterator<Item = (usize, &Work)> {
        let acts = self.acts.iter().enumerate();
        acts.filter_map(|(ix, act)| match &act.doing {
            Doing::Work(work) => Some((ix, work)),
            _ => None,
        })
    }

    /// How the crew stands before its first act.
    pub(super) fn begin(&self) -> Mark {
        Mark {
            step: self.clock.begin(),
            trouble: 0,
            kept: false,
        }
    }

    /// Does an act; work takes as long as it is told to. With every limit soft, nothing is refused.
    pub(super) fn done(
        &self,
        act: usize,
        before: &Mark,
        work: Seconds,
        not_before: Seconds,
    ) -> Mark {
        let act = &self.acts[act];
        let mut mark = Mark {
            kept: false,
            ..*before
        };
        self.arrive(act, &mut mark.step);
        match &act.doing {
            Doing::SetOut if not_before <= mark.step.at => {}
            Doing::SetOut => self.change(&mut mark.step, 0, not_before),
            Doing::Work(at) => self.work(at, work, &mut mark),
            Doing::Change(seconds) => self.change(&mut mark.step, *seconds, not_before),
            Doing::GoHome => mark.trouble += self.overtime(mark.step.at),
        }
        mark
    }

    /// When the crew could begin to change units.
    pub(super) fn ready(&self, act: usize, before: &Mark, not_before: Seconds) -> Seconds {
        let mut step = before.step;
        self.arrive(&self.acts[act], &mut step);
        self.change(&mut step, 0, not_before);
        step.at
    }

    fn arrive(&self, act: &Act, step: &mut Step) {
        if let Some(hop) = &act.hop {
            let driven = self.clock.go(step, hop, &mut no_log);
            debug_assert!(driven.is_ok());
        }
    }

    fn change(&self, step: &mut Step, seconds: Seconds, not_before: Seconds) {
        let called = self.clock.call(step, seconds, not_before, &mut no_log);
        debug_assert!(called.is_ok());
    }

    fn work(&self, at: &Work, work: Seconds, mark: &mut Mark) {
        let service = Service {
            work,
            noisy: at.noisy,
            ..Service::default()
        };
        let worked = self
            .clock
            .work(&mut mark.step, at.job, &service, AT_ONCE, &mut no_log);
        let Ok(times) = worked else { return };
        let job = self.problem.job(at.job);
        mark.trouble += lateness(job, times.start, times.finish);
        mark.kept = job
            .promise
            .is_some_and(|promise| promise.kept(times.start, times.finish));
    }

    pub(super) fn overtime(&self, back_at: Seconds) -> Seconds {
        (back_at - self.crew().shift_end).max(0)
    }

    pub(super) fn is_over_limit(&self, back_at: Seconds) -> bool {
        back_at > self.crew().shift_end + self.crew().overtime_max
    }

    /// The crew with its own limits, which the clock does not have.
    fn crew(&self) -> &'c Crew {
        self.problem.crew(CrewIx::from_ix(self.clock.crew_ix))
    }
}

impl Awaits {
    fn of<'l>(links: impl Iterator<Item = &'l Link>) -> Self {
        let mut givers = Vec::new();
        for link in links {
            if link.meeting {
                return Self::Other(link.from);
            }
            givers.push(link.from);
        }
        givers.sort_unstable();
        givers.dedup();
        if givers.is_empty() {
            Self::Nobody
        } else {
            Self::Givers(givers)
        }
    }
}

/// Before what instant a stop does not begin even where everybody it waits for is early. If the plan waits there for
/// nobody that is lived through, or for longer than they take, for whatever reason, that is the planned one.
fn not_before<'l>(
    problem: &Problem,
    day: &CrewPlan,
    stop: &Stop,
    links: impl Iterator<Item = &'l Link>,
) -> Seconds {
    let waits = stop.wait_seconds > 0;
    let free = match &stop.visit {
        Visit::Yard { load, .. } => free_from(problem, load, stop.start),
        Visit::Meet { .. } => AT_ONCE,
        // The clock knows for what work waits.
        Visit::Job { .. } => return AT_ONCE,
    };
    let Some(there) = links.map(|link| link.planned).max() else {
        return if waits { stop.start } else { AT_ONCE };
    };
    let known = there.max(free);
    // A break may have come in between.
    let rested = day
        .breaks
        .iter()
        .any(|rest| rest.finish == stop.start && rest.start <= known);
    if waits && known < stop.start && !rested {
        stop.start
    } else {
        free
    }
}

/// From when on units are free that are so at an instant.
fn free_from(problem: &Problem, units: &[UnitIx], at: Seconds) -> Seconds {
    let windows = units.iter().filter_map(|unit| {
        let mut windows = problem.unit(*unit).available.iter();
        windows.find(|window| window.covers(at, at))
    });
    windows.map(|window| window.open).max().unwrap_or(AT_ONCE)
}

fn is_noisy(problem: &Problem, tasks: &[TaskPlan]) -> bool {
    let mut units = tasks
        .iter()
        .flat_map(|task| task.unit.into_iter().chain(task.powerhead));
    units.any(|unit| problem.class_of(unit).noisy)
}

/// Seconds after what was promised, due, or the last window.
fn lateness(job: &Job, start: Seconds, finish: Seconds) -> Seconds {
    let promise = job.promise.map_or(0, |promise| {
        (promise.met_at(start, finish) - promise.close).max(0)
    });
    let due = job.due.map_or(0, |due| (finish - due.at).max(0));
    let last = if job.bound == Bound::Whole {
        finish
    } else {
        start
    };
    let window = job
        .windows
        .last()
        .map_or(0, |window| (last - window.close).max(0));
    promise + due + window
}
