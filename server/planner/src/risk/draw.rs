//! How long a stop's work takes in a run.

use std::f64::consts::TAU;

use rand::{RngExt, SeedableRng};
use rand_xoshiro::Xoshiro256PlusPlus;

use crate::Seconds;
use crate::index::JobIx;
use crate::plan::TaskPlan;
use crate::problem::Problem;
use crate::problem::limits::SHIFT_SECONDS_MAX;

/// The length of a stop's work: a sum of log-normal tasks and of what does not vary.
pub(super) struct Length {
    job: JobIx,
    /// Fixed time at the place and waits for tools.
    fixed: Seconds,
    tasks: Vec<Spread>,
}

/// The length of one task.
struct Spread {
    median: Seconds,
    /// Standard deviation of its logarithm.
    deviation: f64,
}

impl Length {
    pub(super) fn new(problem: &Problem, crew_size: u8, job: JobIx, tasks: &[TaskPlan]) -> Self {
        let waits: Seconds = tasks.iter().map(|task| task.wait_seconds).sum();
        let spread = |(ix, task): (usize, &TaskPlan)| Spread {
            median: task.seconds.min(SHIFT_SECONDS_MAX),
            deviation: deviation(problem, crew_size, job, ix, task),
        };
        Self {
            job,
            fixed: Seconds::from(problem.job(job).fixed_seconds) + waits,
            tasks: tasks.iter().enumerate().map(spread).collect(),
        }
    }

    /// The length with each task at its median.
    pub(super) fn median(&self) -> Seconds {
        self.fixed + self.tasks.iter().map(|task| task.median).sum::<Seconds>()
    }

    /// The length in a run.
    pub(super) fn drawn(&self, seed: u64, run: u32) -> Seconds {
        let drawn = self.tasks.iter().enumerate().map(|(ix, task)| {
            if task.deviation <= 0.0 {
                return task.median;
            }
            let factor = (task.deviation * normal(seed, run, self.job, ix)).exp();
            #[expect(
                clippy::cast_possible_truncation,
                reason = "far below the range of whole seconds"
            )]
            let seconds = (task.median as f64 * factor)
                .round()
                .min(SHIFT_SECONDS_MAX as f64) as Seconds;
            seconds
        });
        self.fixed + drawn.sum::<Seconds>()
    }
}

/// Standard deviation of the logarithm of a task's length.
fn deviation(problem: &Problem, crew_size: u8, job: JobIx, task: usize, plan: &TaskPlan) -> f64 {
    let units = || {
        plan.unit
            .into_iter()
            .chain(plan.powerhead)
            .map(|unit| problem.unit(unit).class)
    };
    let choices = problem.tool_choices(job, task, crew_size);
    let choice = choices
        .iter()
        .find(|choice| choice.method == plan.method && choice.tool.classes().eq(units()));
    choice.map_or(0.0, |choice| {
        f64::from(choice.log_deviation_permille) / 1_000.0
    })
}

/// A standard normal number that depends on seed, run, job and task alone (Box and Muller, "A Note on the Generation of
/// Random Normal Deviates", 1958).
fn normal(seed: u64, run: u32, job: JobIx, task: usize) -> f64 {
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
