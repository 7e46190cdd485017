//! Trying a job with one crew, with some causes lifted.

use rand::SeedableRng;
use rand_xoshiro::Xoshiro256PlusPlus;

use super::Cause;
use super::crews::Asked;
use super::held::{Held, Hold, holds};
use super::work::Work;
use crate::Seconds;
use crate::cost::{Breakdown, Cost};
use crate::index::{ClassIx, CrewIx, JobIx, PlaceIx, UnitIx};
use crate::plan::{Plan, Visit};
use crate::problem::limits::SHIFT_SECONDS_MAX;
use crate::problem::{Obstacle, Problem, Progress, Window};
use crate::routing::Cancel;
use crate::rules::skill;
use crate::search::insertion::{Care, Inserter};
use crate::search::load::{load, units_of};
use crate::search::model::Model;
use crate::search::state::State;

/// Units listed for one class at most.
const UNITS_MAX: usize = 20;

/// Whoever else a crew meets.
const NOT_IN_PROBLEM: CrewIx = CrewIx(u32::MAX);

/// One crew's day is laid out in no time.
static NEVER: Cancel = Cancel::new();

/// What all trials for one job share.
#[derive(Clone, Copy)]
pub(super) struct Case<'p> {
    pub(super) problem: &'p Problem,
    pub(super) plan: &'p Plan,
    pub(super) job: JobIx,
    pub(super) held: &'p Held,
    pub(super) work: &'p Work,
    pub(super) cancel: &'p Cancel,
}

/// One crew's day with the job to be tried.
pub(super) struct Trial<'p> {
    case: Case<'p>,
    problem: &'p Problem,
    job: JobIx,
    crew: CrewIx,
    asked: &'p Asked,
    /// The crew's jobs in their order, then the job.
    jobs: Vec<JobIx>,
    /// The plan of the small problem.
    plan: Plan,
    /// Who has which unit on the crew's day.
    holders: Vec<Option<CrewIx>>,
    /// Units that others hand to the crew where they meet, and when.
    handed: Vec<(UnitIx, Seconds)>,
}

/// What a trial lifts beside causes.
#[derive(Clone, Copy, Default)]
struct Also {
    /// The most overtime, where it is not the crew's own.
    overtime_max: Option<Seconds>,
    /// The crew has no limit of exposure.
    no_exposure_limit: bool,
}

impl<'p> Trial<'p> {
    pub(super) fn new(case: Case<'p>, asked: &'p Asked) -> Self {
        let (problem, crew) = (case.problem, asked.crew);
        let mut day = case.plan.crews[crew.ix()].clone();
        day.stops.retain(|stop| !stop.frozen);
        let mut jobs = Vec::new();
        let mut handed: Vec<(UnitIx, Seconds)> = Vec::new();
        for stop in &mut day.stops {
            match &mut stop.visit {
                Visit::Job { job, .. } => {
                    jobs.push(*job);
                    *job = JobIx::from_ix(jobs.len() - 1);
                }
                Visit::Meet { with, take, .. } => {
                    // It is there, whatever the crew does.
                    *with = NOT_IN_PROBLEM;
                    handed.extend(take.iter().map(|unit| (*unit, stop.finish)));
                }
                Visit::Yard { .. } => {}
            }
        }
        jobs.push(case.job);
        let small = Plan {
            crews: vec![day],
            unplanned: vec![JobIx::from_ix(jobs.len() - 1)],
            cost: Breakdown::default(),
        };
        Self {
            case,
            problem,
            job: case.job,
            crew,
            asked,
            jobs,
            plan: small,
            holders: case.held.holders(problem, crew),
            handed,
        }
    }

    /// When other crews have the unit on the crew's day.
    fn held(&self, unit: UnitIx) -> impl Iterator<Item = &Hold> {
        let day = self.problem.crew(self.crew).day;
        self.case.held.of(unit).filter(move |hold| {
            hold.by != self.crew
                && self.problem.crew(hold.by).day == day
                && !self.handed.contains(&(unit, hold.to))
        })
    }

    /// What the job would add to the plan's cost with the causes lifted, or `None` if it does not fit.
    pub(super) fn cost_without(&self, lifted: &[Cause]) -> Option<Cost> {
        self.cost_with(lifted, Also::default())
    }

    /// What the job would add to the plan's cost if the crew had no limit of exposure.
    pub(super) fn cost_without_limit(&self) -> Option<Cost> {
        self.cost_with(
            &[],
            Also {
                no_exposure_limit: true,
                ..Also::default()
            },
        )
    }

    fn cost_with(&self, lifted: &[Cause], also: Also) -> Option<Cost> {
        let barred = also.overtime_max.is_none() && !self.asked.may_with(lifted);
        if barred || self.case.cancel.is_raised() {
            return None;
        }
        self.case.work.one_more();
        let this = JobIx::from_ix(self.jobs.len() - 1);
        let gate = |task| {
            lifted
                .iter()
                .any(|cause| matches!(cause, Cause::GateTooNarrow { task: t, .. } if *t == task))
        };
        let slope = |task| {
            lifted
                .iter()
                .any(|cause| matches!(cause, Cause::SlopeTooSteep { task: t, .. } if *t == task))
        };
        let small = self
            .problem
            .of_one_crew(self.crew, &self.jobs, |job, task, obstacle| {
                job == self.job
                    && match obstacle {
                        Obstacle::Gate => gate(task),
                        Obstacle::Slope => slope(task),
                        Obstacle::GateAndSlope => gate(task) && slope(task),
                    }
            });
        let small = small.with(|parts| {
            let mut in_order = lifted.to_vec();
            in_order.sort_by_key(Cause::rank);
            for cause in &in_order {
                match cause {
                    // Settled below, and with the tools.
                    Cause::UnitElsewhere { .. } | Cause::GateTooNarrow { .. } | Cause::SlopeTooSteep { .. } => {}
                    _ if !self.asked.is_helped_by(cause) => {}
                    _ => self.in_small(cause).lift(this, parts),
                }
            }
            for (ix, holder) in self.holders.iter().enumerate() {
                let elsewhere = holder.is_some_and(|holder| holder != self.crew);
                let lift = |cause: &Cause| matches!(cause, Cause::UnitElsewhere { unit, .. } if unit.ix() == ix);
                if lifted.iter().any(lift) {
                    continue;
                }
                if self.problem.shares_units() {
                    self.leave_to_others(UnitIx::from_ix(ix), &mut parts.units[ix].available);
                } else if elsewhere {
                    parts.units[ix].available.clear();
                }
                let day = self.problem.crew(self.crew).day;
                let holds = self.case.held.of(UnitIx::from_ix(ix));
                for hold in holds.filter(|hold| self.problem.crew(hold.by).day != day) {
                    hold.leave(&mut parts.units[ix].available);
                }
            }
            if let Some(overtime_max) = also.overtime_max {
                parts.crews[0].overtime_max = overtime_max;
            }
            if also.no_exposure_limit {
                parts.crews[0].exposure_limit = None;
            }
        });
        if aboard_too_large(&small) {
            return None;
        }
        let model = Model::new(&small, &NEVER);
        let mut state = State::new(&model);
        load(&mut state, &self.plan);
        if state.bank != [this] {
            return None;
        }
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(0);
        let best = Inserter::new(Care::FULL).find(&state, this, &[0], &mut rng, Cost::MAX.0);
        best.map(|found| Cost(found.delta))
    }

    /// Takes the times at which other crews have the unit off those at which it is available. A unit changes hands once a
    /// day: who has it before another has it no more after that one, and who has it after one not before.
    fn leave_to_others(&self, unit: UnitIx, available: &mut Vec<Window>) {
        let mine = holds(&self.plan.crews[0], self.crew, unit, false).next();
        let others = || self.held(unit);
        let by = others().next().map(|hold| hold.by);
        let changes_hands = others().any(|hold| Some(hold.by) != by);
        if mine.is_none() && changes_hands {
            available.clear();
        }
        for hold in others() {
            let before = available.iter().map(|window| Window {
                close: window.close.min(hold.from),
                ..*window
            });
            let after = available.iter().map(|window| Window {
                open: window.open.max(hold.to),
                ..*window
            });
            let first = mine.as_ref().map(|mine| mine.from < hold.from);
            let before = before.filter(|_| first != Some(false));
            let after = after.filter(|_| first != Some(true));
            let mut left: Vec<Window> = before.chain(after).collect();
            left.retain(|window| window.open < window.close);
            left.sort_unstable_by_key(|window| window.open);
            *available = left;
        }
    }

    /// The cause with the small problem's numbers for crew and jobs.
    fn in_small(&self, cause: &Cause) -> Cause {
        let mut cause = *cause;
        match &mut cause {
            Cause::UnitElsewhere { crew, .. }
            | Cause::NotAboard { crew, .. }
            | Cause::UnitAtOtherYard { crew, .. }
            | Cause::LoadSpaceFull { crew }
            | Cause::SkillMissing { crew, .. }
            | Cause::CrewTooSmall { crew, .. }
            | Cause::CrewNotListed { crew }
            | Cause::ShiftFull { crew, .. }
            | Cause::BreakMissed { crew } => *crew = CrewIx(0),
            Cause::OtherStopLate { crew, job } => {
                *crew = CrewIx(0);
                *job = JobIx::from_ix(self.jobs.iter().position(|other| other == job).unwrap_or(0));
            }
            Cause::NoCapability { .. }
            | Cause::GateTooNarrow { .. }
            | Cause::SlopeTooSteep { .. }
            | Cause::UnitOut { .. }
            | Cause::WindowMissed
            | Cause::PromiseConflict
            | Cause::QuietHours => {}
        }
        cause
    }

    /// The causes of which each by itself stands in the way.
    pub(super) fn single_causes(&self) -> Vec<Cause> {
        let (late, others): (Vec<Cause>, Vec<Cause>) = self
            .other_causes()
            .into_iter()
            .partition(|cause| matches!(cause, Cause::OtherStopLate { .. }));
        let mut causes = others;
        // What all of them together do not help, none does alone.
        if late.len() < 2 || self.cost_without(&late).is_some() {
            causes.extend(late);
        }
        causes.retain(|cause| self.cost_without(&[*cause]).is_some());
        let mut causes: Vec<Cause> = causes
            .into_iter()
            .map(|cause| self.measured(cause, &[]))
            .collect();
        if !self.asked.may_with(&[]) {
            // No unit helps a crew that may not do the job.
            return causes;
        }
        for alike in self.unit_causes() {
            // Units of a class that are missing for the same reason are alike: one is tried for all.
            if let Some([cause]) = alike.first().map(Vec::as_slice)
                && self.cost_without(&[*cause]).is_some()
            {
                causes.extend(alike.into_iter().flatten().take(UNITS_MAX));
            }
        }
        causes
    }

    /// A smallest set of causes that stand in the way together.
    pub(super) fn smallest_set(&self) -> Option<Vec<Cause>> {
        let mut causes = self.other_causes();
        causes.extend(
            self.unit_causes()
                .into_iter()
                .filter_map(|alike| alike.into_iter().next())
                .flatten(),
        );
        // What a dispatcher cares least about goes first.
        causes.sort_by_key(|cause| std::cmp::Reverse(cause.rank()));
        self.cost_without(&causes)?;
        let mut at = 0;
        while at < causes.len() {
            let cause = causes.remove(at);
            if self.cost_without(&causes).is_none() {
                causes.insert(at, cause);
                at += 1;
            }
        }
        Some(causes)
    }

    /// Fills in how much time a full shift lacks once the other causes are lifted.
    pub(super) fn measured(&self, cause: Cause, others: &[Cause]) -> Cause {
        let Cause::ShiftFull { crew, .. } = cause else {
            return cause;
        };
        if crew != self.crew {
            return cause;
        }
        let overtime = self.problem.crew(crew).overtime_max;
        let (mut short, mut enough) = (0, SHIFT_SECONDS_MAX);
        while enough - short > 1 {
            let middle = short + (enough - short) / 2;
            let also = Also {
                overtime_max: Some(overtime + middle),
                ..Also::default()
            };
            if self.cost_with(others, also).is_some() {
                enough = middle;
            } else {
                short = middle;
            }
        }
        Cause::ShiftFull {
            crew,
            seconds_short: enough,
        }
    }

    /// Candidates beside units.
    fn other_causes(&self) -> Vec<Cause> {
        let (job, crew_ix) = (self.problem.job(self.job), self.crew);
        let crew = self.problem.crew(crew_ix);
        let mut causes = vec![
            Cause::WindowMissed,
            Cause::ShiftFull {
                crew: crew_ix,
                seconds_short: 0,
            },
            Cause::LoadSpaceFull { crew: crew_ix },
        ];
        if job.promise.is_some() {
            causes.push(Cause::PromiseConflict);
        }
        if !job.quiet.is_empty() {
            causes.push(Cause::QuietHours);
        }
        if !crew.breaks.is_empty() {
            causes.push(Cause::BreakMissed { crew: crew_ix });
        }
        if skill::missing(crew, job).is_some() {
            let missing = job
                .skills
                .iter()
                .filter(|skill| !crew.skills.contains(skill));
            causes.extend(missing.map(|&skill| Cause::SkillMissing {
                crew: crew_ix,
                skill,
            }));
        }
        if crew.size < job.crew_size_min {
            causes.push(Cause::CrewTooSmall {
                crew: crew_ix,
                people: crew.size,
            });
        }
        if job
            .crews
            .as_ref()
            .is_some_and(|crews| !crews.contains(&crew_ix))
        {
            causes.push(Cause::CrewNotListed { crew: crew_ix });
        }
        for (task, _) in job.tasks.iter().enumerate() {
            causes.extend(self.ground_causes(task));
        }
        let others = &self.jobs[..self.jobs.len() - 1];
        causes.extend(
            others
                .iter()
                .map(|&job| Cause::OtherStopLate { crew: crew_ix, job }),
        );
        causes
    }

    /// Gate and slope of a task, if a tool is stopped by them.
    fn ground_causes(&self, task: usize) -> impl Iterator<Item = Cause> {
        let size = self.problem.crew(self.crew).size;
        let (mut narrowest, mut steepest) = (None, None);
        for (obstacle, choice) in self.problem.obstacles(self.job, task, size) {
            let classes = || choice.tool.classes().map(|class| self.problem.class(class));
            let width = classes().map(|class| class.width_mm).max().unwrap_or(0);
            let slope = classes()
                .map(|class| class.slope_max_permille)
                .min()
                .unwrap_or(0);
            if obstacle != Obstacle::Slope {
                narrowest = Some(narrowest.map_or(width, |least: u32| least.min(width)));
            }
            if obstacle != Obstacle::Gate {
                steepest = Some(steepest.map_or(slope, |most: u32| most.max(slope)));
            }
        }
        let gate = narrowest.map(|narrowest_mm| Cause::GateTooNarrow { task, narrowest_mm });
        let slope = steepest.map(|steepest_permille| Cause::SlopeTooSteep {
            task,
            steepest_permille,
        });
        gate.into_iter().chain(slope)
    }

    /// Units that could serve the job and are not to be had, each with its causes; alike ones together.
    fn unit_causes(&self) -> Vec<Vec<Vec<Cause>>> {
        let crew = self.problem.crew(self.crew);
        let mut groups: Vec<Vec<Vec<Cause>>> = Vec::new();
        for class in self.wanted_classes() {
            let first = groups.len();
            let of_class = |unit: &UnitIx| self.problem.unit(*unit).class == class;
            if let Progress::UnderWay(way) = &crew.progress
                && crew.handing_over().is_none()
                && !way.aboard.iter().any(of_class)
            {
                groups.push(vec![vec![Cause::NotAboard {
                    class,
                    crew: self.crew,
                }]]);
                continue;
            }
            for unit in (0..self.problem.units().len())
                .map(UnitIx::from_ix)
                .filter(of_class)
            {
                let causes = self.causes_of_unit(unit);
                // Alike: missing for the same reasons, at the same yard or aboard.
                let key = |causes: &[Cause]| {
                    let unit = causes.iter().find_map(Cause::unit);
                    let at = unit.map(|unit| {
                        (
                            self.problem.unit(unit).home,
                            self.holders[unit.ix()] == Some(self.crew),
                        )
                    });
                    (at, causes.iter().map(Cause::rank).collect::<Vec<_>>())
                };
                match groups[first..]
                    .iter_mut()
                    .find(|group| key(&group[0]) == key(&causes))
                {
                    _ if causes.is_empty() => {}
                    Some(group) => group.push(causes),
                    None => groups.push(vec![causes]),
                }
            }
        }
        // A unit aboard that must be back early ends the day for everything else.
        for unit in units_of(&self.plan.crews[0]) {
            let causes = self.causes_of_unit(unit);
            if !causes.is_empty() && !groups.iter().any(|group| group.contains(&causes)) {
                groups.push(vec![causes]);
            }
        }
        groups
    }

    /// Classes of all tools that could serve the job.
    fn wanted_classes(&self) -> Vec<ClassIx> {
        let size = self.problem.crew(self.crew).size;
        let mut wanted: Vec<ClassIx> = Vec::new();
        for task in 0..self.problem.job(self.job).tasks.len() {
            let choices = self.problem.tool_choices(self.job, task, size).iter();
            let blocked = self
                .problem
                .obstacles(self.job, task, size)
                .map(|(_, choice)| choice);
            wanted.extend(
                choices
                    .chain(blocked)
                    .flat_map(|choice| choice.tool.classes()),
            );
        }
        wanted.sort_unstable();
        wanted.dedup();
        wanted
    }

    /// Why the crew cannot have the unit for its whole day; none if it can.
    fn causes_of_unit(&self, unit_ix: UnitIx) -> Vec<Cause> {
        let (unit, crew) = (self.problem.unit(unit_ix), self.problem.crew(self.crew));
        let latest = crew.shift_end + crew.overtime_max;
        let (start, from): (Option<PlaceIx>, Seconds) = match &crew.progress {
            Progress::NotStarted => (Some(crew.start), crew.shift_start),
            Progress::UnderWay(way) => (None, way.ready_at),
        };
        let within_reach = start == Some(unit.home) || crew.yard_at(unit.home).is_some();
        let mut causes = Vec::new();
        let holder = self.holders[unit_ix.ix()];
        let foreign = holder != Some(self.crew) && !within_reach;
        if let Some(crew) = holder.filter(|holder| *holder != self.crew && !foreign) {
            let holds = self.held(unit_ix).filter(|hold| hold.by == crew);
            let until = holds.map(|hold| hold.told_until).max().unwrap_or(latest);
            causes.push(Cause::UnitElsewhere {
                unit: unit_ix,
                crew,
                until,
            });
        }
        if !unit
            .available
            .iter()
            .any(|window| window.covers(from, latest))
        {
            let next = unit
                .available
                .iter()
                .find(|Window { open, .. }| *open > from)
                .map(|window| window.open);
            causes.push(Cause::UnitOut {
                unit: unit_ix,
                until: next,
            });
        }
        if foreign {
            causes.push(Cause::UnitAtOtherYard {
                unit: unit_ix,
                yard: unit.home,
                crew: self.crew,
            });
        }
        causes
    }
}

/// A unit lifted aboard must still fit on the vehicle.
fn aboard_too_large(small: &Problem) -> bool {
    let crew = &small.crews()[0];
    match &crew.progress {
        Progress::NotStarted => false,
        Progress::UnderWay(way) => {
            let space: u64 = way
                .aboard
                .iter()
                .map(|&unit| u64::from(small.class_of(unit).space))
                .sum();
            space > u64::from(crew.load_space)
        }
    }
}
