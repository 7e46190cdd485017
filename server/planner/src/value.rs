//! What a job costs, and what one more unit or one more hour would bring. Each answer is a search of its own, with the
//! same seed and an equal budget as the search it is compared with, never a guess from slack.

use crate::Seconds;
use crate::cost::Cost;
use crate::explain::EVER;
use crate::index::{CrewIx, JobIx, UnitIx};
use crate::plan::Plan;
use crate::problem::limits::{SHIFT_SECONDS_MAX, UNITS_MAX};
use crate::problem::{Problem, Unit};
use crate::routing::{Budget, Cancel};
use crate::solve::{Heat, Settings, Solved, solve};

/// A change to try.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WhatIf {
    /// The job is not wanted.
    WithoutJob(JobIx),
    /// One more unit like this one, at the same yard, always available.
    OneMoreUnit(UnitIx),
    /// The crew's shift is longer by so many seconds.
    LongerShift {
        /// The crew.
        crew: CrewIx,
        /// Seconds more, at most 36 hours.
        seconds: Seconds,
    },
}

/// What a change brings.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Value {
    /// Cost of the plan as it is, improved.
    pub without: Cost,
    /// Cost with the change.
    pub with: Cost,
    /// The plan as it is, improved.
    pub base: Plan,
    /// The plan with the change. Unit numbers beyond the problem's are the unit added.
    pub plan: Plan,
}

impl Value {
    /// What the change saves; for [`WhatIf::WithoutJob`] the job's marginal cost. Not negative: the plan as it is would
    /// still do.
    pub fn saving(&self) -> Cost {
        self.without - self.with
    }
}

/// How to try a change.
#[derive(Clone, Copy)]
pub struct TrialSettings<'s> {
    /// Source of all chance, the same for both searches.
    pub seed: u64,
    /// How long to search without and with the change.
    pub budgets: [&'s dyn Budget; 2],
    /// Stops early.
    pub cancel: &'s Cancel,
}

/// Searches without and with the change, both from `plan`. References out of range change nothing. When cancelled
/// before the search with the change has begun, it is told to bring nothing.
///
/// What was planned before is left out of both: a job that moves because another one is not wanted costs nobody anything
/// that the one is worth.
pub fn what_if(problem: &Problem, plan: &Plan, change: WhatIf, trial: &TrialSettings) -> Value {
    let [without, with] = trial.budgets;
    let settings = Settings {
        seed: trial.seed,
        budget: without,
        cancel: trial.cancel,
        warm_start: Some(plan),
        heat: Heat::Gentle,
    };
    let problem = &problem.changed(|parts| {
        for job in &mut parts.jobs {
            job.previous = None;
        }
    });
    let base = solve(problem, &settings, &mut |_| {}).plan;
    if settings.cancel.is_raised() {
        return nothing(base);
    }
    let changed = problem.changed(|parts| match change {
        WhatIf::WithoutJob(job) => {
            if let Some(job) = parts.jobs.get_mut(job.ix()) {
                // Nobody misses it and nobody may do it.
                job.penalty = 0;
                job.crews = Some(Vec::new());
            }
        }
        WhatIf::OneMoreUnit(unit) => {
            if let Some(unit) = parts.units.get(unit.ix())
                && parts.units.len() < UNITS_MAX
            {
                let twin = Unit {
                    available: vec![EVER],
                    ..unit.clone()
                };
                parts.units.push(twin);
            }
        }
        WhatIf::LongerShift { crew, seconds } => {
            if let Some(crew) = parts.crews.get_mut(crew.ix()) {
                crew.shift_end += seconds.clamp(0, SHIFT_SECONDS_MAX);
            }
        }
    });
    let start = Settings {
        warm_start: Some(&base),
        budget: with,
        ..settings
    };
    let found = solve(&changed, &start, &mut |_| {});
    told(base, found)
}

/// What the search with the change tells. Cancelled before it began, it plans nothing, which is no answer.
fn told(base: Plan, found: Solved) -> Value {
    let dearer = found.plan.cost.total() > base.cost.total();
    if found.cancelled && dearer {
        return nothing(base);
    }
    Value {
        without: base.cost.total(),
        with: found.plan.cost.total(),
        base,
        plan: found.plan,
    }
}

/// The change brings nothing.
fn nothing(base: Plan) -> Value {
    Value {
        without: base.cost.total(),
        with: base.cost.total(),
        plan: base.clone(),
        base,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Iterations;
    use crate::problem::Previous;
    use crate::support::plain;
    use crate::support::planned;
    use crate::support::random_problem::{Kinds, problem};

    /// A search that was cancelled before it laid out its problem plans nothing. That is not what the change costs.
    #[test]
    fn a_change_not_tried_brings_nothing() {
        let mut dearer = 0;
        for seed in 0..50 {
            let problem = problem(seed, Kinds::ALL);
            let base = planned(&problem, seed, 20, None);
            let cancel = Cancel::new();
            cancel.raise();
            let settings = Settings {
                seed,
                budget: &Iterations(20),
                cancel: &cancel,
                warm_start: Some(&base),
                heat: Heat::Gentle,
            };
            let found = solve(&problem, &settings, &mut |_| {});
            dearer += usize::from(found.plan.cost.total() > base.cost.total());
            let value = told(base.clone(), found);
            assert_eq!(value.saving(), Cost::ZERO, "seed {seed}");
            assert_eq!(value.plan, base, "seed {seed}");
        }
        assert!(dearer > 25, "{dearer} of 50");
    }

    /// Without the first job of a day all others move forward, which costs more than the job does. That is no part of what
    /// it is worth.
    #[test]
    fn a_job_is_worth_no_less_for_what_moves_without_it() {
        let day = |previous: &[Option<Previous>]| {
            let jobs = previous.iter().zip(1..).map(|(previous, place)| {
                let mut job = plain::job(place, &[]);
                job.previous = *previous;
                job.fixed_seconds = 3_600;
                job
            });
            let mut parts = plain::parts(
                plain::road(&[0, 600, 1_200, 1_800]),
                vec![],
                vec![],
                vec![plain::crew()],
                jobs.collect(),
            );
            parts.weights.moved_job = 100_000;
            plain::problem(parts)
        };
        let first = planned(&day(&[None; 3]), 1, 200, None);
        let before = [0, 1, 2].map(|job| {
            let (crew, stop) = first.find(JobIx(job))?;
            let stop = &first.crews[crew.ix()].stops[stop];
            Some(Previous {
                crew,
                start: stop.start,
                finish: stop.finish,
            })
        });
        assert!(before.iter().all(Option::is_some));
        let problem = day(&before);
        let settings = TrialSettings {
            seed: 1,
            budgets: [&Iterations(50), &Iterations(50)],
            cancel: &Cancel::new(),
        };
        for job in [0, 1, 2].map(JobIx) {
            let value = what_if(&problem, &first, WhatIf::WithoutJob(job), &settings);
            // Its own work at least, at 20 an hour.
            assert!(value.saving().minor_units() >= 2_000, "{job:?}: {value:?}");
            assert_eq!(value.base.cost.disturbance, Cost::ZERO);
        }
    }
}
