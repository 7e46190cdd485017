//! Kinds of answer, each as a narrower problem.

use crate::Seconds;
use crate::index::{CrewIx, JobIx, UnitIx};
use crate::plan::{Plan, Visit};
use crate::problem::{Problem, Progress};

/// A way out. Each is the problem with some freedom taken away.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Strategy {
    /// Every job stays with its crew, nobody calls at the yard.
    GoOn,
    /// Every job stays with its crew, calls at the yard are allowed.
    Fetch,
    /// Jobs may change crews, nobody calls at the yard.
    Move,
    /// The jobs that cannot be done as planned are left for another day, or those that are new; the rest stays with its crews.
    Defer,
}

impl Strategy {
    pub(super) const ALL: [Self; 4] = [Self::GoOn, Self::Fetch, Self::Move, Self::Defer];

    /// The problem with less freedom. `put_off` are the jobs to leave, where that is the way out.
    pub(super) fn narrow(self, problem: &Problem, put_off: &[JobIx]) -> Problem {
        problem.changed(|parts| {
            if matches!(self, Self::GoOn | Self::Move | Self::Defer) {
                for crew in &mut parts.crews {
                    crew.calls_max = 0;
                }
            }
            if matches!(self, Self::GoOn | Self::Fetch | Self::Defer) {
                for job in &mut parts.jobs {
                    let Some(previous) = job.previous else {
                        continue;
                    };
                    let allowed = job
                        .crews
                        .as_ref()
                        .is_none_or(|crews| crews.contains(&previous.crew));
                    job.crews = Some(if allowed {
                        vec![previous.crew]
                    } else {
                        Vec::new()
                    });
                }
            }
            if self == Self::Defer {
                for job in put_off {
                    parts.jobs[job.ix()].crews = Some(Vec::new());
                }
            }
        })
    }
}

/// Open jobs that the plan before did with a unit that is not to be had any more, or with a crew that is gone.
pub(super) fn jobs_hit(problem: &Problem, before: &Plan) -> Vec<JobIx> {
    let mut hit = Vec::new();
    for (ix, day) in before.crews.iter().enumerate().take(problem.crews().len()) {
        for stop in &day.stops {
            if let Visit::Job { job, tasks } = &stop.visit {
                let mut units = tasks
                    .iter()
                    .flat_map(|task| task.unit.into_iter().chain(task.powerhead));
                let lost = units.any(|unit| lost(problem, CrewIx::from_ix(ix), unit, stop.start));
                if job.ix() < problem.jobs().len() && !problem.is_frozen(*job) && lost {
                    hit.push(*job);
                }
            }
        }
    }
    hit
}

/// Whether the crew cannot have the unit at that instant any more.
pub(super) fn lost(problem: &Problem, crew: CrewIx, unit: UnitIx, at: Seconds) -> bool {
    if unit.ix() >= problem.units().len() {
        return true;
    }
    let available = problem
        .unit(unit)
        .available
        .iter()
        .any(|window| window.covers(at, at));
    let aboard = match &problem.crew(crew).progress {
        Progress::NotStarted => true,
        Progress::UnderWay(way) => {
            way.aboard.contains(&unit) || problem.crew(crew).handing_over().is_some()
        }
    };
    !available || !aboard
}
