//! Capability: each task is done with the quickest tool that the units aboard make.
//!
//! Gates and slopes are settled before the search: a tool that does not pass or does not stand the ground is no choice
//! for the task.

use crate::Seconds;
use crate::index::JobIx;
use crate::rules::sharing::{self, Part};
use crate::search::class_set::{Class, ClassSet, NO_CLASS};
use crate::search::model::{Choice, Model};

/// Tasks of most jobs: their parts are written down on the stack, which the search does in its inner loop.
const USUAL_TASKS: usize = 32;

/// What a stop takes with a given load-out.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) struct Service {
    pub(crate) work: Seconds,
    /// Weighed wear.
    pub(crate) wear: i64,
    pub(crate) exposure: i64,
    pub(crate) noisy: bool,
}

/// A stop's service, and the load-outs for which it holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Served {
    pub(crate) service: Service,
    /// Classes it is done with.
    pub(crate) uses: ClassSet,
    /// Classes for want of which a quicker tool was passed over.
    pub(crate) lacks: ClassSet,
    known: bool,
}

impl Served {
    /// Not looked up yet.
    pub(crate) const UNKNOWN: Self = Self {
        service: Service {
            work: 0,
            wear: 0,
            exposure: 0,
            noisy: false,
        },
        uses: ClassSet::EMPTY,
        lacks: ClassSet::EMPTY,
        known: false,
    };

    /// A stop without tasks that lasts as long as its kind says.
    pub(crate) const NOTHING: Self = Self {
        known: true,
        ..Self::UNKNOWN
    };

    /// Whether it is still the same with these classes aboard.
    pub(crate) fn holds(&self, aboard: &ClassSet) -> bool {
        self.known && self.uses.within(aboard) && !self.lacks.meets(aboard)
    }
}

/// Service of a job with the classes aboard, each task with the first of its choices, which are sorted by quickness,
/// that the classes allow. `None` if a task cannot be done.
pub(crate) fn serve(model: &Model, job: JobIx, crew: usize, aboard: &ClassSet) -> Option<Served> {
    let fixed = Seconds::from(model.problem.job(job).fixed_seconds);
    let team = model.crew(crew);
    let mut served = Served::NOTHING;
    served.service.work = fixed;
    // Alone nobody waits for a tool, so that nothing need be written down.
    let mut usual = [Part::<Class>::NOTHING; USUAL_TASKS];
    let mut more = Vec::new();
    let tasks = model.problem.job(job).tasks.len();
    let parts: &mut [Part<Class>] = if tasks <= USUAL_TASKS {
        &mut usual
    } else {
        more.resize(tasks, Part::NOTHING);
        &mut more
    };
    let mut count = 0;
    for choices in model.tasks(job, crew) {
        let mut found: Option<&Choice> = None;
        for choice in choices {
            match (aboard.has(choice.first), aboard.has(choice.second)) {
                (true, true) => {
                    found = Some(choice);
                    break;
                }
                (false, _) => served.lacks.insert(choice.first),
                (true, false) => served.lacks.insert(choice.second),
            }
        }
        let choice = found?;
        let (lasts, bound) = (team.paced(choice.seconds), team.paced(choice.bound_seconds));
        served.service.work += lasts;
        served.service.wear += choice.wear * bound;
        served.service.exposure += team.paced(choice.exposure);
        if team.size > 1 {
            parts[count] = Part {
                lasts,
                bound,
                tools: [choice.first, choice.second]
                    .map(|class| (class != NO_CLASS).then_some(class)),
            };
            count += 1;
        }
        served.service.noisy |= choice.noisy;
        served.uses.insert(choice.first);
        served.uses.insert(choice.second);
    }
    served.service.work += sharing::wait(&parts[..count]).0;
    Some(served)
}
