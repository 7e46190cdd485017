//! How a finished plan may really go.
//!
//! Each task's length is drawn from a log-normal distribution around its median with its own spread, the plan's order
//! and units stay, and each crew works through its day as it comes. Draws depend on the seed, the run, the job and the
//! task alone (common random numbers): two plans with the same job meet the same luck, so that their difference is the
//! plans' and not chance's. Drives take their planned length.

use std::f64::consts::TAU;

use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;

use crate::Seconds;
use crate::index::{CrewIx, JobIx};
use crate::plan::{CrewPlan, Plan, TaskPlan, Visit};
use crate::problem::limits::{INSTANT_MAX, SHIFT_SECONDS_MAX};
use crate::problem::{Bound, Problem};
use crate::routing::Cancel;
use crate::rules::capability::Service;
use crate::search::clock::{AT_ONCE, Clock, no_log};
use crate::search::model::Model;

/// Most runs of one simulation.
pub const RUNS_MAX: u32 = 100_000;

/// What the simulation found.
#[derive(Debug, Clone, PartialEq)]
pub struct Risk {
    /// Planned promises still open.
    pub promises: Vec<PromiseRisk>,
    /// One entry for each crew.
    pub crews: Vec<CrewRisk>,
    /// The stop whose uncertainty costs most: with its tasks at their medians, the mean trouble (overtime and lateness
    /// against promises, due instants and windows, in seconds) falls most.
    pub most_endangering: Option<Endangering>,
    /// Runs made.
    pub runs: u32,
}

impl Risk {
    fn of(runs: u32) -> Self {
        Self {
            promises: Vec::new(),
            crews: Vec::new(),
            most_endangering: None,
            runs: runs.min(RUNS_MAX),
        }
    }
}

/// Chance that one promise is kept.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PromiseRisk {
    /// The job.
    pub job: JobIx,
    /// Share of the runs in which work starts in time, 0 to 1.
    pub kept: f64,
}

/// A crew's chance of overtime.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CrewRisk {
    /// Share of the runs with overtime, 0 to 1.
    pub overtime: f64,
    /// Mean overtime over all runs, seconds.
    pub overtime_seconds_mean: f64,
    /// Overtime that nine runs in ten do not exceed, seconds.
    pub overtime_seconds_p90: Seconds,
    /// Share of the runs in which the crew is back later than its overtime limit.
    pub over_limit: f64,
}

/// A stop that endangers the day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Endangering {
    /// The crew.
    pub crew: CrewIx,
    /// The job.
    pub job: JobIx,
    /// Mean trouble that its uncertainty causes, seconds.
    pub seconds: f64,
}

/// Simulates a plan that [`check`](crate::check()) accepts, `runs` times (at most [`RUNS_MAX`]).
pub fn simulate(problem: &Problem, plan: &Plan, seed: u64, runs: u32) -> Risk {
    let mut risk = Risk::of(runs);
    simulate_into(&mut risk, problem, plan, seed, &Cancel::new());
    risk
}

/// The same; none if it is cancelled before it is done.
pub fn simulate_until(
    problem: &Problem,
    plan: &Plan,
    seed: u64,
    runs: u32,
    cancel: &Cancel,
) -> Option<Risk> {
    let mut risk = Risk::of(runs);
    simulate_into(&mut risk, problem, plan, seed, cancel);
    (!cancel.is_raised()).then_some(risk)
}

fn simulate_into(risk: &mut Risk, problem: &Problem, plan: &Plan, seed: u64, cancel: &Cancel) {
    let relaxed = relaxed(problem);
    let model = Model::new(&relaxed, cancel);
    for (ix, day) in plan.crews.iter().enumerate().take(problem.crews().len()) {
        let course = Course {
            problem,
            clock: Clock::new(&model, ix),
            day,
            seed,
            cancel,
        };
        course.simulate(risk);
    }
}

/// The problem with every limit of time soft: in the field, late is late and not impossible.
fn relaxed(problem: &Problem) -> Problem {
    problem.changed(|parts| {
        for job in &mut parts.jobs {
            job.bound = Bound::Start;
            if let Some(last) = job.windows.last_mut() {
                last.close = INSTANT_MAX;
            }
            if let Some(promise) = &mut job.promise {
                promise.hard = false;
            }
        }
        for crew in &mut parts.crews {
            crew.overtime_max = SHIFT_SECONDS_MAX;
            for rest in &mut crew.breaks {
                rest.latest = INSTANT_MAX;
            }
        }
    })
}

/// One crew's day, to be lived through many times.
struct Course<'c> {
    problem: &'c Problem,
    clock: Clock<'c>,
    day: &'c CrewPlan,
    seed: u64,
    cancel: &'c Cancel,
}

/// How one run went.
struct Outcome {
    back_at: Seconds,
    trouble: Seconds,
}

impl Course<'_> {
    fn simulate(&self, risk: &mut Risk) {
        let runs = risk.runs;
        let crew = self.problem.crew(CrewIx::from_ix(self.clock.crew_ix));
        let jobs: Vec<JobIx> = self
            .day
            .stops
            .iter()
            .filter(|stop| !stop.frozen)
            .filter_map(crate::plan::Stop::job)
            .collect();
        let mut kept: Vec<(JobIx, u32)> = jobs
            .iter()
            .filter(|job| self.problem.job(**job).promise.is_some())
            .map(|job| (*job, 0))
            .collect();
        let mut overtime: Vec<Seconds> = Vec::new();
        let mut over_limit = 0;
        let mut trouble = 0;
        let mut spared = vec![0; jobs.len()];
        for run in 0..runs {
            if self.cancel.is_raised() {
                return;
            }
            let outcome = self.run(run, None, &mut |job, start, finish| {
                let promise = self.problem.job(job).promise;
                for (known, times) in &mut kept {
                    *times += u32::from(
                        *known == job && promise.is_some_and(|promise| promise.kept(start, finish)),
                    );
                }
            });
            overtime.push((outcome.back_at - crew.shift_end).max(0));
            over_limit += u32::from(outcome.back_at > crew.shift_end + crew.overtime_max);
            trouble += outcome.trouble;
            if outcome.trouble > 0 {
                for (spared, job) in spared.iter_mut().zip(&jobs) {
                    *spared +=
                        outcome.trouble - self.run(run, Some(*job), &mut |_, _, _| {}).trouble;
                }
            }
        }
        let share = |count: u32| {
            if runs > 0 {
                f64::from(count) / f64::from(runs)
            } else {
                0.0
            }
        };
        risk.promises
            .extend(kept.into_iter().map(|(job, times)| PromiseRisk {
                job,
                kept: share(times),
            }));
        overtime.sort_unstable();
        let late = overtime.iter().filter(|seconds| **seconds > 0).count();
        let sum: Seconds = overtime.iter().sum();
        risk.crews.push(CrewRisk {
            overtime: share(u32::try_from(late).unwrap_or(u32::MAX)),
            overtime_seconds_mean: if runs > 0 {
                sum as f64 / f64::from(runs)
            } else {
                0.0
            },
            overtime_seconds_p90: overtime
                .get(overtime.len().saturating_sub(1) * 9 / 10)
                .copied()
                .unwrap_or(0),
            over_limit: share(over_limit),
        });
        debug_assert!(trouble >= 0);
        for (seconds, job) in spared.into_iter().zip(jobs) {
            let mean = if runs > 0 {
                seconds as f64 / f64::from(runs)
            } else {
                0.0
            };
            if mean > risk.most_endangering.map_or(0.0, |most| most.seconds) {
                let crew = CrewIx::from_ix(self.clock.crew_ix);
                risk.most_endangering = Some(Endangering {
                    crew,
                    job,
                    seconds: mean,
                });
            }
        }
    }

    /// Lives through the day once. The tasks of `certain` take their medians.
    fn run(
        &self,
        run: u32,
        certain: Option<JobIx>,
        worked: &mut dyn FnMut(JobIx, Seconds, Seconds),
    ) -> Outcome {
        let clock = &self.clock;
        let mut step = clock.begin();
        let mut place = clock.data.from;
        let mut trouble = 0;
        let mut any = clock.data.under_way;
        for stop in self.day.stops.iter().filter(|stop| !stop.frozen) {
            any = true;
            // With every limit soft nothing is refused.
            let driven = clock.drive(&mut step, place, stop.place, &mut no_log);
            debug_assert!(driven.is_ok());
            place = stop.place;
            match &stop.visit {
                Visit::Job { job, tasks } => {
                    let work = self.length(run, *job, tasks, certain == Some(*job));
                    let service = Service {
                        work,
                        noisy: self.is_noisy(tasks),
                        ..Service::default()
                    };
                    let Ok(times) = clock.work(&mut step, *job, &service, AT_ONCE, &mut no_log)
                    else {
                        continue;
                    };
                    worked(*job, times.start, times.finish);
                    trouble += self.lateness(*job, times.start, times.finish);
                }
                Visit::Yard { .. } | Visit::Meet { .. } => {
                    // The crew waits at the yard only for a unit that is not there yet.
                    let not_before = if stop.wait_seconds > 0 {
                        stop.start
                    } else {
                        AT_ONCE
                    };
                    let work = match &stop.visit {
                        Visit::Yard { .. } => clock.crew.yard_at(stop.place),
                        _ => None,
                    };
                    let work = work.map_or(stop.finish - stop.start, |call| call.seconds);
                    let called = clock.call(&mut step, work, not_before, &mut no_log);
                    debug_assert!(called.is_ok());
                }
            }
        }
        if any {
            let driven = clock.drive(&mut step, place, clock.data.end, &mut no_log);
            debug_assert!(driven.is_ok());
        }
        let shift_end = self.problem.crew(CrewIx::from_ix(clock.crew_ix)).shift_end;
        Outcome {
            back_at: step.at,
            trouble: trouble + (step.at - shift_end).max(0),
        }
    }

    fn is_noisy(&self, tasks: &[TaskPlan]) -> bool {
        let mut units = tasks
            .iter()
            .flat_map(|task| task.unit.into_iter().chain(task.powerhead));
        units.any(|unit| self.problem.class_of(unit).noisy)
    }

    /// Length of a stop's work in a run.
    fn length(&self, run: u32, job: JobIx, tasks: &[TaskPlan], certain: bool) -> Seconds {
        let drawn = tasks.iter().enumerate().map(|(ix, task)| {
            let deviation = if certain {
                0.0
            } else {
                self.deviation(job, ix, task)
            };
            let factor = (deviation * draw(self.seed, run, job, ix)).exp();
            #[expect(
                clippy::cast_possible_truncation,
                reason = "far below the range of whole seconds"
            )]
            let seconds = (task.seconds as f64 * factor)
                .round()
                .min(SHIFT_SECONDS_MAX as f64) as Seconds;
            seconds
        });
        let waits: Seconds = tasks.iter().map(|task| task.wait_seconds).sum();
        Seconds::from(self.problem.job(job).fixed_seconds) + drawn.sum::<Seconds>() + waits
    }

    /// Standard deviation of the logarithm of a task's length.
    fn deviation(&self, job: JobIx, task: usize, plan: &TaskPlan) -> f64 {
        let units = || {
            plan.unit
                .into_iter()
                .chain(plan.powerhead)
                .map(|unit| self.problem.unit(unit).class)
        };
        let choices = self.problem.tool_choices(job, task, self.clock.crew.size);
        let choice = choices
            .iter()
            .find(|choice| choice.method == plan.method && choice.tool.classes().eq(units()));
        choice.map_or(0.0, |choice| {
            f64::from(choice.log_deviation_permille) / 1_000.0
        })
    }

    /// Seconds after what was promised, due, or the last window.
    fn lateness(&self, job: JobIx, start: Seconds, finish: Seconds) -> Seconds {
        let job = self.problem.job(job);
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
}

/// A standard normal number that depends on seed, run, job and task alone (Box and Muller, "A Note on the Generation of
/// Random Normal Deviates", 1958).
fn draw(seed: u64, run: u32, job: JobIx, task: usize) -> f64 {
    let mut key = seed;
    for part in [u64::from(run), u64::from(job.0), task as u64] {
        key = (key ^ part.wrapping_mul(0x9E37_79B9_7F4A_7C15))
            .rotate_left(23)
            .wrapping_mul(0xD6E8_FEB8_6659_FD93);
    }
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(key);
    let (radius, angle): (f64, f64) = (rng.random(), rng.random());
    (-2.0 * (1.0 - radius).ln()).sqrt() * (TAU * angle).cos()
}

/// The problem with each task as long as `deviations` standard deviations of its logarithm above the median: 0 plans
/// for the median, 0.84 for what four tasks in five do not exceed, 1.28 for nine in ten. Plans made for it are safer and
/// hold less.
#[must_use]
pub fn planned_for(problem: &Problem, deviations: f64) -> Problem {
    problem.with_lengths(|choice| {
        let factor = (deviations.clamp(-3.0, 3.0) * f64::from(choice.log_deviation_permille)
            / 1_000.0)
            .exp();
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "bounded by the limit"
        )]
        let seconds = (f64::from(choice.seconds) * factor)
            .round()
            .clamp(0.0, SHIFT_SECONDS_MAX as f64) as u32;
        seconds
    })
}
