//! Capability: each task is done with the quickest tool that the units aboard make.
//!
//! Gates and slopes are settled before the search: a tool that does not pass or does not stand the ground is no choice
//! for the task.

use crate::Seconds;
use crate::index::JobIx;
use crate::search::class_set::ClassSet;
use crate::search::model::{Choice, Model};

/// What a stop takes with a given load-out.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(crate) struct Service {
    pub(crate) work: Seconds,
    /// Weighed wear.
    pub(crate) wear: i64,
    pub(crate) exposure: i64,
    pub(crate) noisy: bool,
}

/// The first of the choices, which are sorted by quickness, that the classes aboard allow.
pub(crate) fn quickest<'a>(choices: &'a [Choice], aboard: &ClassSet) -> Option<&'a Choice> {
    choices
        .iter()
        .find(|choice| aboard.has(choice.first) && aboard.has(choice.second))
}

/// Service of a job with the classes aboard, and adds the classes used to `used`. `None` if a task cannot be done.
pub(crate) fn service(
    model: &Model,
    job: JobIx,
    crew: usize,
    aboard: &ClassSet,
    used: &mut ClassSet,
) -> Option<Service> {
    let mut total = Service {
        work: Seconds::from(model.problem.job(job).fixed_seconds),
        ..Service::default()
    };
    for choices in model.tasks(job, crew) {
        let choice = quickest(choices, aboard)?;
        total.work += Seconds::from(choice.seconds);
        total.wear += choice.wear * i64::from(choice.seconds);
        total.exposure += i64::from(choice.exposure);
        total.noisy |= choice.noisy;
        used.insert(choice.first);
        used.insert(choice.second);
    }
    Some(total)
}
