//! Which tools serve which task, and how long they take.

use super::{Fault, Faults, Item, Parts, Role, ServiceQuery, ServiceTime, Tool, UnitClass};
use crate::index::{CapabilityIx, ClassIx, JobIx};
use crate::problem::limits::{CHOICES_MAX, EXPOSURE_MAX, SERVICE_SECONDS_MAX};

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
}

impl Tools {
    pub(super) fn new(
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
        };
        for (job_ix, job) in parts.jobs.iter().enumerate() {
            tools.jobs.push(tools.ranges.len());
            tools.tasks.push(job.tasks.len());
            for size_ix in 0..tools.sizes.len() {
                let crew_size = tools.sizes[size_ix];
                for task in 0..job.tasks.len() {
                    let mut ask = Ask {
                        parts,
                        service,
                        faults,
                        job: JobIx::from_ix(job_ix),
                        task,
                        crew_size,
                    };
                    let from = tools.choices.len();
                    ask.collect(&catalogue, &mut tools.choices, &mut tools.blocked);
                    sort(&mut tools.choices[from..]);
                    tools.ranges.push((index(from), index(tools.choices.len())));
                }
                if tools.choices.len() > CHOICES_MAX {
                    faults.count(
                        Item::Problem,
                        "ways to do tasks",
                        tools.choices.len(),
                        CHOICES_MAX,
                    );
                    return tools;
                }
            }
        }
        tools
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

fn index(length: usize) -> u32 {
    u32::try_from(length).unwrap_or(u32::MAX)
}

/// Every tool the branch's classes can make, by capability.
struct Catalogue {
    by_capability: Vec<(CapabilityIx, Vec<Tool>)>,
}

impl Catalogue {
    fn new(parts: &Parts) -> Self {
        // Classes without a unit make no tool.
        let mut owned = vec![false; parts.classes.len()];
        for unit in &parts.units {
            owned[unit.class.ix()] = true;
        }
        let mut found: Vec<(CapabilityIx, Tool)> = Vec::new();
        let classes = || {
            parts
                .classes
                .iter()
                .enumerate()
                .filter(|(ix, _)| owned[*ix])
        };
        for (ix, class) in classes() {
            let this = ClassIx::from_ix(ix);
            let tools: Vec<Tool> = match class.role {
                Role::Whole | Role::Powerhead { .. } => vec![Tool::Whole(this)],
                Role::Attachment { coupling } => classes()
                    .filter(|(_, other)| other.role == Role::Powerhead { coupling })
                    .map(|(power_ix, _)| Tool::Pair {
                        attachment: this,
                        powerhead: ClassIx::from_ix(power_ix),
                    })
                    .collect(),
            };
            for &capability in &class.capabilities {
                found.extend(tools.iter().map(|&tool| (capability, tool)));
            }
        }
        found.sort_unstable();
        let mut by_capability: Vec<(CapabilityIx, Vec<Tool>)> = Vec::new();
        for (capability, tool) in found {
            match by_capability.last_mut() {
                Some((last, tools)) if *last == capability => tools.push(tool),
                _ => by_capability.push((capability, vec![tool])),
            }
        }
        Self { by_capability }
    }

    fn tools(&self, capability: CapabilityIx) -> &[Tool] {
        match self
            .by_capability
            .binary_search_by_key(&capability, |(known, _)| *known)
        {
            Ok(ix) => &self.by_capability[ix].1,
            Err(_) => &[],
        }
    }
}

/// Asks for one task's service times.
struct Ask<'a> {
    parts: &'a Parts,
    service: &'a mut dyn FnMut(ServiceQuery) -> Option<ServiceTime>,
    faults: &'a mut Faults,
    job: JobIx,
    task: usize,
    crew_size: u8,
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
                    for &tool in catalogue.tools(capability) {
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
