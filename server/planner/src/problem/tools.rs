//! Which tools serve which task, and how long they take.

use super::catalogue::Catalogue;
use super::{Fault, Faults, Item, Parts, ServiceQuery, ServiceTime, Tool, UnitClass};
use crate::Seconds;
use crate::index::JobIx;
use crate::problem::limits::{CHOICES_ASKED_MAX, CHOICES_MAX, EXPOSURE_MAX, SERVICE_SECONDS_MAX};

/// One way to do a task: a method with a tool.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ToolChoice {
    /// The tool.
    pub tool: Tool,
    /// Position of the method in the task.
    pub method: usize,
    /// Median length for a crew of usual pace, seconds.
    pub seconds: u32,
    /// How long it binds the tool, for a crew of usual pace, seconds.
    pub bound_seconds: u32,
    /// Spread: standard deviation of the logarithm, in thousandths.
    pub log_deviation_permille: u16,
    /// Exposure points.
    pub exposure: u32,
    /// Wear of all its units while it runs, minor units per hour.
    pub wear_per_hour: i64,
    /// Too loud for quiet times.
    pub noisy: bool,
}

/// Why a capable tool is no choice for a task.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Obstacle {
    /// It does not pass the gate.
    Gate,
    /// It does not stand the slope.
    Slope,
    /// Neither.
    GateAndSlope,
}

/// All choices, by job, crew size and task.
#[derive(Debug, Clone)]
pub(super) struct Tools {
    sizes: Vec<u8>,
    /// First entry of each job in `ranges`.
    jobs: Vec<usize>,
    ranges: Vec<(u32, u32)>,
    choices: Vec<ToolChoice>,
    tasks: Vec<usize>,
    /// Capable tools that cannot be used, for the explanation of jobs left out.
    blocked: Vec<(JobIx, usize, u8, Obstacle, ToolChoice)>,
    /// Seconds of each job with the slowest tool for each task, for a crew of usual pace.
    longest: Vec<Seconds>,
}

/// How many ways to do tasks there may be.
#[derive(Clone, Copy)]
struct Room {
    /// Those that are kept, also of tools that cannot be used.
    kept: usize,
    /// Those that are asked for.
    asked: usize,
}

impl Tools {
    pub(super) fn new(
        parts: &Parts,
        service: &mut dyn FnMut(ServiceQuery) -> Option<ServiceTime>,
        faults: &mut Faults,
    ) -> Self {
        let room = Room {
            kept: CHOICES_MAX,
            asked: CHOICES_ASKED_MAX,
        };
        Self::within(room, parts, service, faults)
    }

    /// Stops at the first task beyond what there is room for.
    fn within(
        room: Room,
        parts: &Parts,
        service: &mut dyn FnMut(ServiceQuery) -> Option<ServiceTime>,
        faults: &mut Faults,
    ) -> Self {
        let mut sizes: Vec<u8> = parts.crews.iter().map(|crew| crew.size).collect();
        sizes.sort_unstable();
        sizes.dedup();
        let catalogue = Catalogue::new(parts);
        let mut tools = Self {
            sizes,
            jobs: Vec::with_capacity(parts.jobs.len()),
            ranges: Vec::new(),
            choices: Vec::new(),
            tasks: Vec::with_capacity(parts.jobs.len()),
            blocked: Vec::new(),
            longest: Vec::with_capacity(parts.jobs.len()),
        };
        let mut asked = 0;
        // The job with the most ways so far.
        let mut widest = (0, JobIx(0));
        for (job_ix, job) in parts.jobs.iter().enumerate() {
            let this = JobIx::from_ix(job_ix);
            tools.jobs.push(tools.ranges.len());
            tools.tasks.push(job.tasks.len());
            let (before, mut longest) = (asked, 0);
            for size_ix in 0..tools.sizes.len() {
                let crew_size = tools.sizes[size_ix];
                let mut seconds = 0;
                for task in 0..job.tasks.len() {
                    let mut ask = Ask {
                        parts,
                        service: &mut *service,
                        faults: &mut *faults,
                        job: this,
                        task,
                        crew_size,
                        asked: 0,
                    };
                    let (from, blocked) = (tools.choices.len(), tools.blocked.len());
                    ask.collect(&catalogue, &mut tools.choices, &mut tools.blocked);
                    asked += ask.asked;
                    let others = tools.blocked[blocked..].iter().map(|entry| &entry.4);
                    seconds += slowest(tools.choices[from..].iter().chain(others));
                    sort(&mut tools.choices[from..]);
                    tools.ranges.push((index(from), index(tools.choices.len())));
                    widest = widest.max((asked - before, this));
                    let kept = tools.choices.len() + tools.blocked.len();
                    for (what, count, max) in [
                        ("ways to do tasks", kept, room.kept),
                        ("ways to do tasks to look into", asked, room.asked),
                    ] {
                        if count > max {
                            faults.count(Item::Job(widest.1), what, count, max);
                            return tools;
                        }
                    }
                }
                longest = longest.max(seconds);
            }
            tools.longest.push(longest);
        }
        tools
    }

    /// Seconds that a job takes at the most, for a crew of usual pace, with all that one may wait for a tool beside.
    pub(super) fn longest(&self, job: JobIx) -> Seconds {
        self.longest.get(job.ix()).copied().unwrap_or(0)
    }

    /// The most exposure points of any choice, also of those that gates and slopes forbid.
    pub(super) fn exposure_max(&self) -> u32 {
        let blocked = self.blocked.iter().map(|entry| &entry.4);
        let choices = self.choices.iter().chain(blocked);
        choices.map(|choice| choice.exposure).max().unwrap_or(0)
    }

    pub(super) fn choices(&self, job: JobIx, task: usize, size: u8) -> &[ToolChoice] {
        let Ok(size_ix) = self.sizes.binary_search(&size) else {
            return &[];
        };
        let (from, to) = self.ranges[self.jobs[job.ix()] + size_ix * self.tasks[job.ix()] + task];
        &self.choices[from as usize..to as usize]
    }
}

impl Tools {
    /// The table for some of the jobs and one crew size, in the jobs' new order. `unblock` lets a capable tool that
    /// cannot be used count as a choice.
    pub(super) fn excerpt(
        &self,
        jobs: &[JobIx],
        size: u8,
        unblock: impl Fn(JobIx, usize, Obstacle) -> bool,
    ) -> Self {
        let mut excerpt = Self {
            sizes: vec![size],
            jobs: Vec::new(),
            ranges: Vec::new(),
            choices: Vec::new(),
            tasks: Vec::new(),
            blocked: Vec::new(),
            longest: Vec::new(),
        };
        for &job in jobs {
            excerpt.jobs.push(excerpt.ranges.len());
            excerpt.tasks.push(self.tasks[job.ix()]);
            for task in 0..self.tasks[job.ix()] {
                let from = excerpt.choices.len();
                excerpt
                    .choices
                    .extend_from_slice(self.choices(job, task, size));
                let freed = self
                    .obstacles(job, task, size)
                    .filter(|(obstacle, _)| unblock(job, task, *obstacle));
                excerpt.choices.extend(freed.map(|(_, choice)| *choice));
                sort(&mut excerpt.choices[from..]);
                excerpt
                    .ranges
                    .push((index(from), index(excerpt.choices.len())));
            }
        }
        excerpt
    }

    /// Sets every length anew and sorts again.
    pub(super) fn set_lengths(&mut self, length: impl Fn(&ToolChoice) -> u32) {
        for choice in self
            .choices
            .iter_mut()
            .chain(self.blocked.iter_mut().map(|entry| &mut entry.4))
        {
            let seconds = length(choice);
            // The tool is bound longer in the same measure.
            let bound = u64::from(choice.bound_seconds) * u64::from(seconds)
                / u64::from(choice.seconds.max(1));
            choice.bound_seconds = u32::try_from(bound)
                .unwrap_or(u32::MAX)
                .min(SERVICE_SECONDS_MAX);
            choice.seconds = seconds;
        }
        for &(from, to) in &self.ranges {
            sort(&mut self.choices[from as usize..to as usize]);
        }
    }

    /// Capable tools that cannot be used for a task.
    pub(super) fn obstacles(
        &self,
        job: JobIx,
        task: usize,
        size: u8,
    ) -> impl Iterator<Item = (Obstacle, &ToolChoice)> {
        let from = self.blocked.partition_point(|entry| entry.0 < job);
        self.blocked[from..]
            .iter()
            .take_while(move |entry| entry.0 == job)
            .filter(move |entry| entry.1 == task && entry.2 == size)
            .map(|entry| (entry.3, &entry.4))
    }
}

/// Quickest first; ties by wear, noise, method and tool, so that the order never depends on chance.
fn sort(choices: &mut [ToolChoice]) {
    choices.sort_by_key(|choice| {
        (
            choice.seconds,
            choice.wear_per_hour,
            choice.noisy,
            choice.method,
            choice.tool,
        )
    });
}

/// Seconds with the slowest of the tools.
fn slowest<'c>(choices: impl Iterator<Item = &'c ToolChoice>) -> Seconds {
    let seconds = choices.map(|choice| choice.seconds.max(choice.bound_seconds));
    Seconds::from(seconds.max().unwrap_or(0))
}

fn index(length: usize) -> u32 {
    u32::try_from(length).unwrap_or(u32::MAX)
}

/// Asks for one task's service times.
struct Ask<'a> {
    parts: &'a Parts,
    service: &'a mut dyn FnMut(ServiceQuery) -> Option<ServiceTime>,
    faults: &'a mut Faults,
    job: JobIx,
    task: usize,
    crew_size: u8,
    /// How often the caller was asked.
    asked: usize,
}

impl Ask<'_> {
    fn collect(
        &mut self,
        catalogue: &Catalogue,
        choices: &mut Vec<ToolChoice>,
        blocked: &mut Vec<(JobIx, usize, u8, Obstacle, ToolChoice)>,
    ) {
        let methods = &self.parts.jobs[self.job.ix()].tasks[self.task].methods;
        for (method_ix, method) in methods.iter().enumerate() {
            match method.capability {
                None => choices.extend(self.ask(method_ix, Tool::Hand)),
                Some(capability) => {
                    for tool in catalogue.tools(capability) {
                        let passes = method
                            .gate_mm
                            .is_none_or(|gate| width_mm(&self.parts.classes, tool) <= gate);
                        let stands =
                            method.slope_permille <= slope_max_permille(&self.parts.classes, tool);
                        let obstacle = match (passes, stands) {
                            (true, true) => {
                                choices.extend(self.ask(method_ix, tool));
                                continue;
                            }
                            (false, true) => Obstacle::Gate,
                            (true, false) => Obstacle::Slope,
                            (false, false) => Obstacle::GateAndSlope,
                        };
                        let (job, task, size) = (self.job, self.task, self.crew_size);
                        blocked.extend(
                            self.ask(method_ix, tool)
                                .map(|choice| (job, task, size, obstacle, choice)),
                        );
                    }
                }
            }
        }
    }

    fn ask(&mut self, method: usize, tool: Tool) -> Option<ToolChoice> {
        let query = ServiceQuery {
            job: self.job,
            task: self.task,
            method,
            tool,
            crew_size: self.crew_size,
        };
        self.asked += 1;
        let time = (self.service)(query)?;
        let item = Item::Method {
            job: self.job,
            task: self.task,
            method,
        };
        if time.seconds.max(time.bound_seconds) > SERVICE_SECONDS_MAX {
            self.faults.push(Fault::ServiceOutOfRange {
                item,
                crew_size: self.crew_size,
                seconds: time.seconds.max(time.bound_seconds),
                max: SERVICE_SECONDS_MAX,
            });
            return None;
        }
        self.faults.range(
            item,
            "exposure",
            i64::from(time.exposure),
            0,
            i64::from(EXPOSURE_MAX),
        );
        self.faults.range(
            item,
            "log_deviation_permille",
            i64::from(time.log_deviation_permille),
            0,
            3_000,
        );
        let classes = &self.parts.classes;
        Some(ToolChoice {
            tool,
            method,
            seconds: time.seconds,
            bound_seconds: time.bound_seconds,
            log_deviation_permille: time.log_deviation_permille,
            exposure: time.exposure,
            wear_per_hour: tool
                .classes()
                .map(|class| classes[class.ix()].wear_per_hour)
                .sum(),
            noisy: tool.classes().any(|class| classes[class.ix()].noisy),
        })
    }
}

/// What must pass the gate: the wider of attachment and powerhead.
pub(crate) fn width_mm(classes: &[UnitClass], tool: Tool) -> u32 {
    tool.classes()
        .map(|class| classes[class.ix()].width_mm)
        .max()
        .unwrap_or(0)
}

/// What the slope may be: the lesser of attachment and powerhead.
pub(crate) fn slope_max_permille(classes: &[UnitClass], tool: Tool) -> u32 {
    tool.classes()
        .map(|class| classes[class.ix()].slope_max_permille)
        .min()
        .unwrap_or(u32::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::index::CouplingIx;
    use crate::problem::Role;
    use crate::support::plain::{class, crew, job, parts, road, unit};

    /// Ten attachments that go on each of ten powerheads, and two jobs, the second of three tasks: 100 and 300 ways.
    fn many_pairs(gate_mm: Option<u32>) -> Parts {
        let coupling = CouplingIx(0);
        let classes: Vec<UnitClass> = (0..20)
            .map(|n| UnitClass {
                role: if n < 10 {
                    Role::Attachment { coupling }
                } else {
                    Role::Powerhead { coupling }
                },
                width_mm: 500,
                ..class(u32::from(n >= 10))
            })
            .collect();
        let units = (0..20).map(|class| unit(class, 0)).collect();
        let mut jobs = vec![job(1, &[0]), job(1, &[0, 0, 0])];
        for task in jobs.iter_mut().flat_map(|job| &mut job.tasks) {
            task.methods[0].gate_mm = gate_mm;
        }
        parts(road(&[0, 600]), classes, units, vec![crew()], jobs)
    }

    fn count(parts: &Parts, room: Room, answers: bool) -> (usize, Vec<Fault>) {
        let (mut asked, mut faults) = (0, Faults::new());
        let mut service = |_: ServiceQuery| {
            asked += 1;
            answers.then_some(ServiceTime {
                seconds: 60,
                bound_seconds: 60,
                log_deviation_permille: 0,
                exposure: 0,
            })
        };
        Tools::within(room, parts, &mut service, &mut faults);
        (asked, faults.0)
    }

    /// What is too much is refused at the task at which it becomes so, whether the tools can be used or not, and the job with
    /// the most ways is named.
    #[test]
    fn too_many_ways_are_refused_at_once() {
        const PLENTY: usize = 1_000;
        let second = Item::Job(JobIx(1));
        for gate_mm in [None, Some(400)] {
            let parts = many_pairs(gate_mm);
            let room = |kept| Room {
                kept,
                asked: PLENTY,
            };
            assert_eq!(count(&parts, room(400), true), (400, Vec::new()));
            let (asked, faults) = count(&parts, room(299), true);
            assert_eq!(asked, 300);
            assert!(
                matches!(faults[..], [Fault::TooMany { item, count: 300, max: 299, .. }] if item == second),
                "{faults:?}"
            );
        }
    }

    /// Nor is it asked on and on where nothing suits.
    #[test]
    fn too_many_questions_are_refused_at_once() {
        let room = Room {
            kept: 0,
            asked: 250,
        };
        let (asked, faults) = count(&many_pairs(None), room, false);
        assert_eq!(asked, 300);
        assert!(
            matches!(
                faults[..],
                [Fault::TooMany {
                    item: Item::Job(JobIx(1)),
                    count: 300,
                    max: 250,
                    ..
                }]
            ),
            "{faults:?}"
        );
    }
}
