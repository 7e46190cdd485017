//! The problem laid out for the search: flat, small, with everything that does not change computed once.

use super::class_set::{Class, ClassSet, NO_CLASS};
use super::clock::{AT_ONCE, Clock, no_log};
use crate::Seconds;
use crate::cost::Cost;
use crate::index::{ClassIx, CrewIx, JobIx, PlaceIx, UnitIx};
use crate::problem::{Bound, Crew, Job, Meeting, Problem, Progress, Tool, Unit};
use crate::routing::Cancel;
use crate::rules::capability::Service;
use crate::rules::skill;
use crate::travel::Turned;

/// Nearest jobs kept for each job.
const NEIGHBOURS_MAX: usize = 60;

/// One way to do a task, in few bytes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Choice {
    pub(crate) first: Class,
    pub(crate) second: Class,
    pub(crate) seconds: u32,
    pub(crate) bound_seconds: u32,
    pub(crate) exposure: u32,
    pub(crate) noisy: bool,
    /// Wear while it runs, weighed.
    pub(crate) wear: i64,
}

/// The least that a job takes and costs at its place.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Quickest {
    pub(crate) work: Seconds,
    pub(crate) cost: i64,
}

/// What is asked of a job at each position tried, in few bytes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct JobTimes {
    pub(crate) place: PlaceIx,
    /// It cannot start before.
    opens: Seconds,
    /// It cannot be done before.
    done_from: Seconds,
    /// It must start by then.
    start_by: Seconds,
    /// It must be done by then.
    finish_by: Seconds,
    /// Noisy work may disturb a quiet time before.
    loud_from: Seconds,
    /// It has one window: nothing but these times and breaks bears on its start.
    pub(crate) plain: bool,
    /// Whether its times change its cost.
    pub(crate) priced: bool,
}

impl JobTimes {
    fn of(job: &Job) -> Self {
        let (mut start_by, mut finish_by) = (NEVER, NEVER);
        let close = job.windows.last().map_or(AT_ONCE, |window| window.close);
        match job.bound {
            Bound::Start => start_by = close,
            Bound::Whole => finish_by = close,
        }
        let (mut opens, mut done_from) = (AT_ONCE, AT_ONCE);
        if let Some(window) = job.windows.first() {
            opens = window.open;
        }
        if let Some(promise) = job.promise {
            let must_by = if promise.hard { promise.close } else { NEVER };
            match promise.at {
                Meeting::Start => {
                    opens = opens.max(promise.open);
                    start_by = start_by.min(must_by);
                }
                Meeting::Finish => {
                    done_from = promise.open;
                    finish_by = finish_by.min(must_by);
                }
            }
        }
        Self {
            place: job.place,
            opens,
            done_from,
            start_by,
            finish_by,
            loud_from: job.quiet.last().map_or(AT_ONCE, |quiet| quiet.close),
            plain: job.windows.len() == 1,
            priced: job.promise.is_some() || job.due.is_some() || job.previous.is_some(),
        }
    }

    /// No start before this can be feasible for a crew that is there from an instant on.
    pub(crate) fn earliest_start(&self, from: Seconds, work: Seconds) -> Seconds {
        from.max(self.opens).max(self.done_from - work)
    }

    /// No start after this can be feasible.
    pub(crate) fn latest_start(&self, work: Seconds) -> Seconds {
        self.start_by.min(self.finish_by - work)
    }

    /// Whether the work might have to wait for the end of a quiet time.
    pub(crate) fn may_disturb(&self, start: Seconds, service: &Service) -> bool {
        service.noisy && start < self.loud_from
    }
}

/// Later than any instant.
const NEVER: Seconds = Seconds::MAX / 4;

/// A crew's rates, weighed, and limits.
#[derive(Debug, Clone)]
pub(crate) struct CrewData {
    pub(crate) drive_rate: i64,
    pub(crate) work_rate: i64,
    pub(crate) idle_rate: i64,
    pub(crate) metre_rate: i64,
    pub(crate) size_ix: usize,
    /// Crews of one team number take the same time for everything.
    pub(crate) team: u32,
    pub(crate) day: usize,
    /// Where the part to be planned begins, and when.
    pub(crate) from: PlaceIx,
    pub(crate) ready_at: Seconds,
    pub(crate) end: PlaceIx,
    pub(crate) breaks_taken: usize,
    /// Back by then at the latest: shift, overtime, or what a crew under way can no longer help.
    pub(crate) back_by: Seconds,
    /// Back by then if it does nothing more.
    pub(crate) home_at: Seconds,
    pub(crate) under_way: bool,
}

/// The problem for the search.
pub(crate) struct Model<'p> {
    pub(crate) problem: &'p Problem,
    pub(crate) crews: Vec<CrewData>,
    /// Choices by job, crew size and task.
    choices: Vec<Choice>,
    ranges: Vec<(u32, u32)>,
    first_range: Vec<u32>,
    task_count: Vec<u32>,
    /// Units by class, in order.
    pub(crate) units_of_class: Vec<Vec<UnitIx>>,
    /// Class of each unit, and after them of their second halves.
    pub(crate) class_of_unit: Vec<Class>,
    pub(crate) class_space: Vec<u32>,
    pub(crate) days: usize,
    /// For each job, whether a crew may do it as far as crew lists, skills, size and days go.
    eligible: Vec<bool>,
    /// For each job, the jobs nearest by travel.
    pub(crate) neighbours: Vec<Vec<JobIx>>,
    /// Jobs to be planned.
    pub(crate) open_jobs: Vec<JobIx>,
    pub(crate) penalties: Vec<Cost>,
    pub(crate) load_unit: Cost,
    /// The travel table turned over, if that makes a difference: times and distances to a place from all places.
    inbound: Option<&'p Turned>,
    /// Classes that could serve each job.
    pub(crate) relevant: Vec<ClassSet>,
    /// Length of each job with its quickest tools and the first crew that may do it.
    pub(crate) typical_work: Vec<Seconds>,
    /// Seconds and wear of each job with each crew at the very least.
    quickest: Vec<Quickest>,
    /// Whether some unit is available in several stretches.
    pub(crate) in_stretches: bool,
    /// Whether some job has a plan before.
    pub(crate) has_previous: bool,
    /// What a job moved in time costs.
    pub(crate) moved: i64,
    /// Place and times of each job.
    pub(crate) times: Vec<JobTimes>,
    /// How many crews may do each job.
    pub(crate) eligible_crews: Vec<usize>,
    /// Whether all of it is there; if not, only an empty plan can be made.
    pub(crate) is_whole: bool,
}

impl<'p> Model<'p> {
    /// Lays the problem out. When cancelled, not wholly: that is enough for a plan in which nothing is done.
    pub(crate) fn new(problem: &'p Problem, cancel: &Cancel) -> Self {
        let mut sizes: Vec<u8> = problem.crews().iter().map(|crew| crew.size).collect();
        sizes.sort_unstable();
        sizes.dedup();
        let mut model = Self {
            problem,
            crews: problem
                .crews()
                .iter()
                .map(|crew| crew_data(problem, crew, &sizes))
                .collect(),
            choices: Vec::new(),
            ranges: Vec::new(),
            first_range: Vec::new(),
            task_count: Vec::new(),
            units_of_class: vec![Vec::new(); problem.parts().classes.len()],
            days: problem
                .crews()
                .iter()
                .map(|crew| usize::from(crew.day) + 1)
                .max()
                .unwrap_or(0),
            eligible: Vec::new(),
            neighbours: Vec::new(),
            open_jobs: Vec::new(),
            penalties: Vec::new(),
            class_of_unit: classes_of_units(problem),
            class_space: problem
                .parts()
                .classes
                .iter()
                .map(|class| class.space)
                .collect(),
            load_unit: Cost::money(problem.weights().load_unit, 1_000),
            inbound: None,
            relevant: Vec::new(),
            typical_work: Vec::new(),
            quickest: Vec::new(),
            in_stretches: problem.units().iter().any(|unit| unit.available.len() > 1),
            has_previous: problem.jobs().iter().any(|job| job.previous.is_some()),
            moved: Cost::money(problem.weights().moved_job, 1_000).0,
            times: problem.jobs().iter().map(JobTimes::of).collect(),
            eligible_crews: Vec::new(),
            is_whole: false,
        };
        for (ix, unit) in problem.units().iter().enumerate() {
            model.units_of_class[unit.class.ix()].push(UnitIx::from_ix(ix));
        }
        for (ix, job) in problem.jobs().iter().enumerate() {
            model.penalties.push(Cost::money(
                job.penalty,
                problem.weights().unplanned_permille,
            ));
            if !problem.is_frozen(JobIx::from_ix(ix)) {
                model.open_jobs.push(JobIx::from_ix(ix));
            }
        }
        for crew in 0..model.crews.len() {
            // A crew under way must come home even when that is already too late.
            let home_at = idle_back_at(&model, crew);
            model.crews[crew].home_at = home_at;
            if model.crews[crew].under_way {
                model.crews[crew].back_by = model.crews[crew].back_by.max(home_at);
            }
        }
        model.is_whole = model.survey(&sizes, cancel).is_some();
        model
    }

    /// All that an empty plan can do without; none when cancelled.
    fn survey(&mut self, sizes: &[u8], cancel: &Cancel) -> Option<()> {
        let problem = self.problem;
        let goes_on = || (!cancel.is_raised()).then_some(());
        if !problem.travel().is_symmetric() {
            self.inbound = Some(problem.travel().turned(&goes_on)?);
        }
        for (ix, job) in problem.jobs().iter().enumerate() {
            goes_on()?;
            let this = JobIx::from_ix(ix);
            self.lay_out_choices(this, job, sizes);
            for (crew_ix, crew) in problem.crews().iter().enumerate() {
                self.eligible
                    .push(may_do(CrewIx::from_ix(crew_ix), crew, job));
            }
            self.survey_job(this);
        }
        self.neighbours.resize(problem.jobs().len(), Vec::new());
        let mut near = Vec::new();
        for at in 0..self.open_jobs.len() {
            goes_on()?;
            let job = self.open_jobs[at];
            self.neighbours[job.ix()] = self.nearest(job, &mut near);
        }
        Some(())
    }

    fn lay_out_choices(&mut self, this: JobIx, job: &Job, sizes: &[u8]) {
        let permille = self.problem.weights().wear_permille;
        self.first_range.push(small(self.ranges.len()));
        self.task_count.push(small(job.tasks.len()));
        let mut relevant = ClassSet::EMPTY;
        for &size in sizes {
            for task in 0..job.tasks.len() {
                let from = self.choices.len();
                for choice in self.problem.tool_choices(this, task, size) {
                    let (first, second) = match choice.tool {
                        Tool::Hand => (NO_CLASS, NO_CLASS),
                        Tool::Whole(class) => (class_of(class), NO_CLASS),
                        Tool::Pair {
                            attachment,
                            powerhead,
                        } => (class_of(attachment), class_of(powerhead)),
                    };
                    relevant.insert(first);
                    relevant.insert(second);
                    self.choices.push(Choice {
                        first,
                        second,
                        seconds: choice.seconds,
                        bound_seconds: choice.bound_seconds,
                        exposure: choice.exposure,
                        noisy: choice.noisy,
                        wear: choice.wear_per_hour * permille,
                    });
                }
                self.ranges.push((small(from), small(self.choices.len())));
            }
        }
        self.relevant.push(relevant);
    }

    fn survey_job(&mut self, job: JobIx) {
        let (mut first, mut count) = (0, 0);
        for crew in (0..self.crews.len()).rev() {
            if self.eligible(job, crew) {
                first = crew;
                count += 1;
            }
        }
        for crew in 0..self.crews.len() {
            let quickest = self.find_quickest(job, crew);
            self.quickest.push(quickest);
        }
        let tasks: Seconds = self
            .tasks(job, first)
            .map(|choices| {
                choices
                    .first()
                    .map_or(0, |choice| Seconds::from(choice.seconds))
            })
            .sum();
        self.typical_work
            .push(tasks + Seconds::from(self.problem.job(job).fixed_seconds));
        self.eligible_crews.push(count);
    }

    /// What leaving a job out costs for each second that it takes.
    pub(crate) fn worth(&self, job: JobIx) -> i64 {
        self.penalties[job.ix()].0 / self.typical_work[job.ix()].max(1)
    }

    fn find_quickest(&self, job: JobIx, crew: usize) -> Quickest {
        let mut quickest = Quickest {
            work: i64::from(self.problem.job(job).fixed_seconds),
            cost: 0,
        };
        if self.eligible(job, crew) {
            let team = self.crew(crew);
            let rate = self.crews[crew].work_rate;
            for choices in self.tasks(job, crew) {
                let paced = |choice: &Choice| team.paced(choice.seconds);
                let cost = |choice: &Choice| {
                    rate * paced(choice) + choice.wear * team.paced(choice.bound_seconds)
                };
                quickest.work += choices.iter().map(paced).min().unwrap_or(0);
                quickest.cost += choices.iter().map(cost).min().unwrap_or(0);
            }
            quickest.cost += rate * i64::from(self.problem.job(job).fixed_seconds);
        }
        quickest
    }

    /// What the job takes with the crew at the very least, whatever tools it has.
    pub(crate) fn quickest(&self, job: JobIx, crew: usize) -> Quickest {
        self.quickest[job.ix() * self.crews.len() + crew]
    }

    /// The open jobs nearest to one.
    fn nearest(&self, job: JobIx, near: &mut Vec<(Seconds, JobIx)>) -> Vec<JobIx> {
        let keep = NEIGHBOURS_MAX.min(self.open_jobs.len().saturating_sub(1));
        let drives = self.drives(self.problem.job(job).place);
        near.clear();
        near.extend(
            self.open_jobs
                .iter()
                .filter(|other| **other != job)
                .map(|&other| {
                    let there = self.problem.job(other).place;
                    (drives.to(there).0 + drives.from(there).0, other)
                }),
        );
        if keep < near.len() {
            near.select_nth_unstable(keep);
            near.truncate(keep);
        }
        near.sort_unstable();
        near.iter().map(|(_, other)| *other).collect()
    }

    /// Drives to and from a place.
    pub(crate) fn drives(&self, place: PlaceIx) -> Drives<'_> {
        let travel = self.problem.travel();
        let (to_seconds, to_metres) = (travel.seconds_from(place), travel.metres_from(place));
        match &self.inbound {
            None => Drives {
                to_seconds,
                to_metres,
                from_seconds: to_seconds,
                from_metres: to_metres,
            },
            Some(inbound) => {
                let row = place.ix() * travel.places()..(place.ix() + 1) * travel.places();
                Drives {
                    to_seconds,
                    to_metres,
                    from_seconds: &inbound.seconds[row.clone()],
                    from_metres: &inbound.metres[row],
                }
            }
        }
    }

    /// The choices for each task of a job with a crew.
    pub(crate) fn tasks(&self, job: JobIx, crew: usize) -> impl Iterator<Item = &[Choice]> {
        let count = self.task_count[job.ix()];
        let first = self.first_range[job.ix()] + small(self.crews[crew].size_ix) * count;
        self.ranges[first as usize..(first + count) as usize]
            .iter()
            .map(|&(from, to)| &self.choices[from as usize..to as usize])
    }

    pub(crate) fn eligible(&self, job: JobIx, crew: usize) -> bool {
        self.eligible[job.ix() * self.crews.len() + crew]
    }

    pub(crate) fn crew(&self, crew: usize) -> &'p Crew {
        &self.problem.crews()[crew]
    }

    /// Load space the units take.
    pub(crate) fn space(&self, units: &[UnitIx]) -> u64 {
        units
            .iter()
            .map(|&unit| u64::from(self.problem.class_of(self.whole(unit)).space))
            .sum()
    }

    /// How the search numbers the halves of a unit that changes hands.
    pub(crate) fn half(&self, unit: UnitIx, half: usize) -> UnitIx {
        UnitIx::from_ix(unit.ix() + half * self.problem.units().len())
    }

    /// The unit of which this is a half.
    pub(crate) fn whole(&self, unit: UnitIx) -> UnitIx {
        let count = self.problem.units().len();
        if unit.ix() < count {
            unit
        } else {
            UnitIx::from_ix(unit.ix() - count)
        }
    }

    /// A unit by the search's number.
    pub(crate) fn unit(&self, unit: UnitIx) -> &'p Unit {
        self.problem.unit(self.whole(unit))
    }
}

/// Classes by the search's numbers of units.
fn classes_of_units(problem: &Problem) -> Vec<Class> {
    let class = |unit: &Unit| Class::try_from(unit.class.0).unwrap_or(Class::MAX);
    let units = problem.units().iter();
    units.clone().chain(units).map(class).collect()
}

/// Table entries between one place and all others. Each is one stretch of memory: a job is tried at many positions.
#[derive(Clone, Copy)]
pub(crate) struct Drives<'m> {
    to_seconds: &'m [u32],
    to_metres: &'m [u32],
    from_seconds: &'m [u32],
    from_metres: &'m [u32],
}

impl Drives<'_> {
    /// Table seconds and metres from the other place to this one.
    pub(crate) fn from(&self, other: PlaceIx) -> (Seconds, i64) {
        let at = other.ix();
        (
            Seconds::from(self.from_seconds[at]),
            i64::from(self.from_metres[at]),
        )
    }

    /// Table seconds and metres from this place to the other one.
    pub(crate) fn to(&self, other: PlaceIx) -> (Seconds, i64) {
        let at = other.ix();
        (
            Seconds::from(self.to_seconds[at]),
            i64::from(self.to_metres[at]),
        )
    }
}

/// When the crew is back that does nothing more.
fn idle_back_at(model: &Model, crew: usize) -> Seconds {
    let clock = Clock::new(model, crew);
    let mut step = clock.begin();
    // Breaks that can no longer be taken are counted as taken, so the way home cannot be refused.
    let home = clock.drive(&mut step, clock.data.from, clock.data.end, &mut no_log);
    debug_assert!(home.is_ok());
    step.at
}

/// Whether the crew may do the job, as far as its day, its skills and size, and the job's own list of crews go.
pub(crate) fn may_do(this: CrewIx, crew: &Crew, job: &Job) -> bool {
    let listed = job.crews.as_ref().is_none_or(|crews| crews.contains(&this));
    listed
        && on_its_day(crew, job)
        && skill::missing(crew, job).is_none()
        && crew.size >= job.crew_size_min
}

/// Whether one of the job's windows lies in the crew's day.
pub(crate) fn on_its_day(crew: &Crew, job: &Job) -> bool {
    let (from, to) = (crew.shift_start, crew.shift_end + crew.overtime_max);
    let mut windows = job.windows.iter();
    windows.any(|window| window.open <= to && window.close >= from)
}

fn crew_data(problem: &Problem, crew: &Crew, sizes: &[u8]) -> CrewData {
    let weights = problem.weights();
    let (from, ready_at, breaks_taken, under_way) = match &crew.progress {
        Progress::NotStarted => (crew.start, crew.shift_start, 0, false),
        Progress::UnderWay(way) => (way.place, way.ready_at, way.breaks_taken, true),
    };
    CrewData {
        drive_rate: crew.wage_per_hour * weights.driving_permille,
        work_rate: crew.wage_per_hour * weights.work_permille,
        idle_rate: crew.wage_per_hour * weights.idle_permille,
        metre_rate: Cost::distance(weights.distance_per_km, 1).0,
        size_ix: sizes.binary_search(&crew.size).unwrap_or(0),
        team: u32::from(crew.size) << 16 | u32::from(crew.pace_permille),
        day: usize::from(crew.day),
        from,
        ready_at,
        end: crew.end,
        breaks_taken: breaks_taken.max(crew.breaks_missed(ready_at)),
        back_by: crew.shift_end + crew.overtime_max,
        home_at: ready_at,
        under_way,
    }
}

fn class_of(class: ClassIx) -> Class {
    Class::try_from(class.0).unwrap_or(NO_CLASS)
}

fn small(length: usize) -> u32 {
    u32::try_from(length).unwrap_or(u32::MAX)
}
