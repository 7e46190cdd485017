//! A job as the sum of its tasks, when a crew shares them out.

use super::{Crew, Estimate};
use crate::rates::Rates;
use crate::spread::{self, Spread};
use crate::task::Method;
use crate::units::Minutes;

/// How long a whole job takes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Job {
    /// Half of such jobs take less.
    pub median: Minutes,
    /// The spread about the median.
    pub spread: Spread,
    /// The part of the median that waits for the scarcest tool: no more people shorten it.
    pub waiting: Minutes,
    /// People minutes: the median times the crew.
    pub labour: Minutes,
    /// Minutes that powered tools run, together.
    pub running: Minutes,
}

impl Job {
    /// Adds the tasks of a job.
    ///
    /// `aboard` says how many tools serve a method. A crew works several tasks at once, but two
    /// people cannot hold one edger: the job takes at least as long as all the work waiting for one
    /// tool, divided by the number of such tools (and of people). What that adds over the plain
    /// sum is [`Job::waiting`].
    pub fn of(
        tasks: &[(Method, Estimate)],
        crew: Crew,
        aboard: impl Fn(Method) -> u8,
        rates: &Rates,
    ) -> Self {
        let parts = tasks.iter().map(|(_, task)| (task.median, task.spread));
        let (plain, spread) = spread::sum(parts, rates.spread_correlation.value);
        let on_foot: Minutes = tasks
            .iter()
            .filter(|(method, _)| *method == Method::OnFoot)
            .map(|(_, task)| task.median)
            .sum();
        let medians: Minutes = tasks.iter().map(|(_, task)| task.median).sum();
        let scarcest = Method::ALL
            .into_iter()
            .filter(|method| *method != Method::OnFoot)
            .map(|method| {
                let hands = aboard(method).clamp(1, crew.size.max(1));
                tasks
                    .iter()
                    .filter(|(of, _)| *of == method)
                    .map(|(_, task)| task.fixed + task.alone / f64::from(hands))
                    .sum::<Minutes>()
            })
            .fold(Minutes::ZERO, Minutes::max);
        // The walks come before and after, so they add to the wait.
        let least = on_foot + scarcest;
        let stretch = if medians > Minutes::ZERO {
            (least / medians).max(1.0)
        } else {
            1.0
        };
        let median = plain * stretch;
        Self {
            median,
            spread,
            waiting: median - plain,
            labour: median * f64::from(crew.size),
            running: tasks.iter().map(|(_, task)| task.running).sum(),
        }
    }
}
