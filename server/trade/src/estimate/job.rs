//! A job as the sum of its tasks, when a crew shares them out.

use super::{Crew, Estimate};
use crate::rates::Rates;
use crate::spread::{self, Spread};
use crate::task::Method;
use crate::units::Minutes;

/// How long a whole job takes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Job {
    /// What a plan sets aside: the tasks' medians, and the wait for the scarcest tool. The lines of a
    /// working add up to it. As tasks are skewed to the long side, it lies a few per cent below
    /// [`Job::median`].
    pub planned: Minutes,
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

/// A task with the tools it is done with.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tooled {
    /// How long it takes.
    pub estimate: Estimate,
    /// The tools, by numbers of the caller's: none, one, or a head and its powerhead. Tasks with the
    /// same number wait for the same tool.
    pub tools: [Option<u32>; 2],
}

impl Tooled {
    fn is_on_foot(&self) -> bool {
        self.tools == [None, None]
    }
}

/// What the tasks of a visit wait for their scarcest tool, and the first task that is done with it: the one on which a
/// plan tells the wait. None where nobody waits.
///
/// ```text
/// wait = tasks on foot + all that the scarcest tool is bound by - the tasks one after the other
/// ```
pub fn wait(tasks: &[Tooled]) -> Option<(usize, Minutes)> {
    let (tool, bound) = scarcest(tasks)?;
    let first = tasks
        .iter()
        .position(|task| task.tools.contains(&Some(tool)))?;
    let on_foot: Minutes = tasks
        .iter()
        .filter(|task| task.is_on_foot())
        .map(|task| task.estimate.median)
        .sum();
    let medians: Minutes = tasks.iter().map(|task| task.estimate.median).sum();
    let wait = on_foot + bound - medians;
    (wait > Minutes::ZERO).then_some((first, wait))
}

/// The tool that is bound longest, the first of equals, and for how long.
fn scarcest(tasks: &[Tooled]) -> Option<(u32, Minutes)> {
    let mut longest: Option<(u32, Minutes)> = None;
    for tool in tasks.iter().flat_map(|task| task.tools).flatten() {
        let bound: Minutes = tasks
            .iter()
            .filter(|task| task.tools.contains(&Some(tool)))
            .map(|task| task.estimate.bound(1))
            .sum();
        if longest.is_none_or(|(_, most)| bound > most) {
            longest = Some((tool, bound));
        }
    }
    longest
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
        let scarcest = Method::ALL
            .into_iter()
            .filter(|method| *method != Method::OnFoot)
            .map(|method| {
                let hands = aboard(method).clamp(1, crew.size.max(1));
                tasks
                    .iter()
                    .filter(|(of, _)| *of == method)
                    .map(|(_, task)| task.bound(hands))
                    .sum::<Minutes>()
            })
            .fold(Minutes::ZERO, Minutes::max);
        let tasks = tasks
            .iter()
            .map(|(method, task)| (*method == Method::OnFoot, *task));
        Self::assembled(tasks, scarcest, crew, rates)
    }

    /// Adds the tasks of a job whose tools are chosen: the same as [`Job::of`], where each numbered
    /// tool is one tool, and an attachment waits for its powerhead too.
    pub fn with_tools(tasks: &[Tooled], crew: Crew, rates: &Rates) -> Self {
        let scarcest = scarcest(tasks).map_or(Minutes::ZERO, |(_, bound)| bound);
        let tasks = tasks.iter().map(|task| (task.is_on_foot(), task.estimate));
        Self::assembled(tasks, scarcest, crew, rates)
    }

    /// `tasks` say whether they are done on foot: those come before and after, so they add to the
    /// wait for the scarcest tool.
    fn assembled(
        tasks: impl Iterator<Item = (bool, Estimate)> + Clone,
        scarcest: Minutes,
        crew: Crew,
        rates: &Rates,
    ) -> Self {
        let parts = tasks.clone().map(|(_, task)| (task.median, task.spread));
        let (plain, spread) = spread::sum(parts, rates.spread_correlation.value);
        let on_foot: Minutes = tasks
            .clone()
            .filter(|(on_foot, _)| *on_foot)
            .map(|(_, task)| task.median)
            .sum();
        let medians: Minutes = tasks.clone().map(|(_, task)| task.median).sum();
        let least = on_foot + scarcest;
        let stretch = if medians > Minutes::ZERO {
            (least / medians).max(1.0)
        } else {
            1.0
        };
        let median = plain * stretch;
        Self {
            planned: medians * stretch,
            median,
            spread,
            waiting: median - plain,
            labour: median * f64::from(crew.size),
            running: tasks.map(|(_, task)| task.running).sum(),
        }
    }
}
