//! How a finished plan may really go.
//!
//! Each task's length is drawn from a log-normal distribution around its median with its own spread, the plan's order
//! and units stay, and each crew works through its day as it comes. Who takes a unit over waits until the giver has put it
//! down in that run, and where two crews meet, each waits for the other. Draws depend on the seed, the run, the job and the
//! task alone (common random numbers): two plans with the same job meet the same luck, so that their difference is the
//! plans' and not chance's. Drives take their planned length.

mod course;
mod draw;
mod links;
mod lives;
mod tally;

use self::course::Course;
use self::links::Links;
use self::lives::Lives;
use self::tally::Tally;
use crate::Seconds;
use crate::index::{CrewIx, JobIx};
use crate::plan::Plan;
use crate::problem::limits::{INSTANT_MAX, SHIFT_SECONDS_MAX};
use crate::problem::{Bound, Problem};
use crate::routing::Cancel;
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
    /// Mean trouble that its uncertainty causes, also to crews that wait for this one, seconds.
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
    let links = Links::new(problem, plan);
    let crews = plan.crews.len().min(problem.crews().len());
    let courses: Vec<Course> = (0..crews)
        .map(|crew| Course::new((problem, plan), &model, &links, crew))
        .collect();
    let mut lives = Lives::new(&courses);
    let mut tallies: Vec<Tally> = courses
        .iter()
        .enumerate()
        .map(|(crew, course)| Tally::new(problem, course, &links, crew))
        .collect();
    for group in links.groups(crews) {
        for run in 0..risk.runs {
            if cancel.is_raised() {
                return;
            }
            lives.live(&group, seed, run);
            for first in &group {
                tallies[first.crew].count(&mut lives, cancel);
            }
        }
    }
    for tally in tallies {
        tally.add_to(risk);
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
