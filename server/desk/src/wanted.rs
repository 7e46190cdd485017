//! Jobs as the planner sees them.

use chrono::{DateTime, Utc};
use forenoon_planner::problem::limits::RATE_MAX;
use forenoon_planner::problem::{
    Bound, Due, Job, Meeting, Method as WayOfWork, Previous, Promise, Task as PlannerTask, Window,
};
use forenoon_planner::{CrewIx, Seconds};
use forenoon_store::entity::{job, site};
use forenoon_store::value::{JobState, Task};

use crate::fleet::capability_number;
use crate::inputs::DayInputs;
use crate::places::Places;
use crate::service::ServiceTable;
use crate::stored_plan::StoredPlan;
use crate::trade_map::Hindrance;
use crate::words::SkillNumbers;

/// Cost of leaving a job of each priority out, from what can wait to what must not be missed: minor units, here and below
/// before they are scaled for the branch's currency. Each step is well over the cost of a stop, so that a job is left out
/// only where it does not fit or a weightier one would suffer.
const PENALTY_BY_PRIORITY: [i64; 5] = [15_000, 25_000, 45_000, 100_000, 300_000];
/// What it costs to leave out each minute of work, so that a long job is not dropped for a short one of its kind.
const PENALTY_PER_MINUTE: i64 = 150;
/// A job that cannot be done on any later day weighs so many times as much.
const LAST_DAY_FACTOR: i64 = 2;
/// So does one with a customer waiting.
const PROMISE_FACTOR: i64 = 2;
/// And one that was begun: a site left half done is worse than one not begun.
const BEGUN_FACTOR: i64 = 2;
/// Cost of each hour after a deadline, as a share of the penalty.
const DUE_DIVISOR: i64 = 8;
/// The most that an hour after a deadline costs.
const DUE_PER_HOUR_MAX: i64 = 1_000_000;
/// The most that may be asked for.
const PENALTY_MAX: i64 = 10_000_000;

/// What jobs are built with.
pub(crate) struct Wants<'a> {
    /// What the day is planned from.
    pub(crate) inputs: &'a DayInputs,
    /// Where things are.
    pub(crate) places: &'a Places,
    /// The crews that go out, by the planner's number.
    pub(crate) crew_ids: &'a [String],
    /// Which of them can take work on.
    pub(crate) free: &'a [bool],
    /// What worths are multiplied by for the branch's currency.
    pub(crate) scale: i64,
}

impl Wants<'_> {
    /// The jobs that may be done on the day, with their ids by the planner's number.
    pub(crate) fn jobs(
        &self,
        services: &ServiceTable<'_>,
        skills: &mut SkillNumbers,
    ) -> (Vec<Job>, Vec<String>) {
        let mut jobs = Vec::new();
        let mut ids = Vec::new();
        for stored in &self.inputs.jobs {
            if let Some(job) = self.job(stored, services, skills) {
                jobs.push(job);
                ids.push(stored.id.clone());
            }
        }
        (jobs, ids)
    }

    /// One job; none where it may not be done on the day.
    fn job(
        &self,
        stored: &job::Model,
        services: &ServiceTable<'_>,
        skills: &mut SkillNumbers,
    ) -> Option<Job> {
        let elsewhere = self.is_done_elsewhere(stored) || self.inputs.runs_elsewhere(&stored.id);
        if elsewhere || self.inputs.was_given_up(&stored.id) {
            return None;
        }
        let site = self.inputs.sites.get(&stored.site_id)?;
        let place = self.places.site(&stored.site_id)?;
        let windows = self.less_stops(stored, self.windows(stored));
        if windows.is_empty() {
            return None;
        }
        let minutes = services.usual_minutes(stored);
        let promise = self.promise(stored);
        if stored.promise.is_some() && promise.is_none() && !self.is_of_the_day(stored) {
            return None;
        }
        // Work can wait longer than the customer does: then the promise is broken, whatever is done.
        let promise = promise.filter(|promise| {
            windows
                .iter()
                .any(|window| window.open <= promise.close && promise.open <= window.close)
        });
        let worth = self.penalty(stored, minutes);
        let due = self.due(stored, worth);
        // Left, it is late till the axis ends: to do it late is never dearer than to leave it.
        let penalty = worth + due.map_or(0, |due| self.late_all_day(due));
        let mut wanted: Vec<_> = stored
            .skills
            .0
            .iter()
            .map(|skill| skills.number(skill))
            .collect();
        wanted.sort_unstable();
        wanted.dedup();
        Some(Job {
            place,
            windows,
            bound: Bound::Whole,
            penalty,
            due,
            skills: wanted,
            crew_size_min: 1,
            crews: self.crews(),
            promise,
            quiet: self.quiet(site),
            fixed_seconds: 0,
            tasks: stored
                .tasks
                .0
                .iter()
                .map(|task| PlannerTask {
                    methods: methods(stored, site, task),
                })
                .collect(),
            previous: self.previous(stored),
        })
    }

    /// Whether the job is done, and not by the stop that the published plan has for it: on another day, or by the crew that
    /// had it before.
    fn is_done_elsewhere(&self, stored: &job::Model) -> bool {
        let by_plan = |(base, _): &(StoredPlan, DateTime<Utc>)| {
            let stop = base.stop_of(&stored.id);
            stop.is_some_and(|stop| self.inputs.visit_of(stop).is_some())
        };
        stored.state == JobState::Done && !self.inputs.base.as_ref().is_some_and(by_plan)
    }

    /// Whether the published plan has the job.
    fn is_of_the_day(&self, stored: &job::Model) -> bool {
        self.inputs
            .base
            .as_ref()
            .is_some_and(|(base, _)| base.stop_of(&stored.id).is_some())
    }

    /// The crews that may do a job; none for any.
    fn crews(&self) -> Option<Vec<CrewIx>> {
        if self.free.iter().all(|free| *free) {
            return None;
        }
        Some(
            self.free
                .iter()
                .enumerate()
                .filter(|(_, free)| **free)
                .map(|(ix, _)| CrewIx::from_ix(ix))
                .collect(),
        )
    }

    /// The windows less the times in which a kind of the job's work has to wait.
    fn less_stops(&self, stored: &job::Model, windows: Vec<Window>) -> Vec<Window> {
        let clock = &self.inputs.clock;
        let mut windows = windows;
        for stop in &self.inputs.disruptions.work_stops {
            let waits = stored
                .tasks
                .0
                .iter()
                .any(|task| stop.kinds.contains(&task.kind));
            if !waits {
                continue;
            }
            let (start, end) = (clock.seconds(stop.start_time), clock.seconds(stop.end_time));
            windows = windows
                .into_iter()
                .flat_map(|window| {
                    [
                        Window {
                            open: window.open,
                            close: window.close.min(start),
                        },
                        Window {
                            open: window.open.max(end),
                            close: window.close,
                        },
                    ]
                })
                .filter(|window| window.open < window.close)
                .collect();
        }
        // A stop outside the window leaves it twice.
        windows.dedup();
        windows
    }

    /// The windows of the day, in order and joined where they touch.
    fn windows(&self, stored: &job::Model) -> Vec<Window> {
        let clock = &self.inputs.clock;
        let day = clock.day();
        if !matches!(stored.state, JobState::Open | JobState::Running) {
            // Done on the day: its stop is fixed, and any window will do.
            return vec![Window {
                open: 0,
                close: clock.length(),
            }];
        }
        let mut windows: Vec<Window> = stored
            .windows
            .0
            .iter()
            .filter(|window| window.first_day <= day && day <= window.last_day)
            .flat_map(|window| {
                if window.times.is_empty() {
                    vec![Window {
                        open: 0,
                        close: clock.length(),
                    }]
                } else {
                    window
                        .times
                        .iter()
                        .map(|times| Window {
                            open: clock.wall(times.start_second_of_day),
                            close: clock.wall(times.end_second_of_day),
                        })
                        .collect()
                }
            })
            .filter(|window| window.open < window.close)
            .collect();
        windows.sort_unstable_by_key(|window| (window.open, window.close));
        let mut joined: Vec<Window> = Vec::new();
        for window in windows {
            match joined.last_mut() {
                Some(last) if window.open <= last.close => {
                    last.close = last.close.max(window.close);
                }
                _ => joined.push(window),
            }
        }
        joined
    }

    /// The promise, if it is for this day.
    fn promise(&self, stored: &job::Model) -> Option<Promise> {
        let promise = stored.promise.as_ref()?;
        if promise.before_work && self.inputs.continued.contains_key(&stored.id) {
            // The customer was met when the work began.
            return None;
        }
        let clock = &self.inputs.clock;
        let (open, close) = (
            clock.seconds(promise.start_time),
            clock.seconds(promise.end_time),
        );
        if close < 0 || open > clock.length() {
            return None;
        }
        Some(Promise {
            at: if promise.before_work {
                Meeting::Start
            } else {
                Meeting::Finish
            },
            open,
            close,
            // On a re-plan a promise may have to break, and the dispatcher decides; a fresh day keeps them all.
            hard: self.inputs.base.is_none(),
        })
    }

    fn penalty(&self, stored: &job::Model, minutes: f64) -> i64 {
        let step = usize::try_from(stored.priority - 1).unwrap_or(0);
        let by_priority = PENALTY_BY_PRIORITY
            .get(step)
            .copied()
            .unwrap_or(PENALTY_BY_PRIORITY[2]);
        let mut penalty = (by_priority + seconds(minutes) * PENALTY_PER_MINUTE / 60) * self.scale;
        let day = self.inputs.clock.day();
        let due_today = stored.deadline.is_some_and(|deadline| {
            self.inputs.clock.seconds(deadline) <= self.inputs.clock.length()
        });
        if stored.last_day <= day || due_today {
            penalty *= LAST_DAY_FACTOR;
        }
        if self.inputs.continued.contains_key(&stored.id) {
            penalty *= BEGUN_FACTOR;
        }
        if stored.promise.is_some() {
            penalty *= PROMISE_FACTOR;
        }
        penalty.min(PENALTY_MAX * self.scale)
    }

    /// What it costs to be done late; from midnight on where the job was due before the day.
    fn due(&self, stored: &job::Model, worth: i64) -> Option<Due> {
        stored.deadline.map(|deadline| Due {
            at: self.inputs.clock.nearest(deadline).max(0),
            cost_per_hour: (worth / DUE_DIVISOR)
                .min(DUE_PER_HOUR_MAX * self.scale)
                .min(RATE_MAX),
        })
    }

    /// What it costs to be late until the axis ends.
    fn late_all_day(&self, due: Due) -> i64 {
        const SECONDS_PER_HOUR: i64 = 3_600;
        let (_, ends) = self.inputs.clock.axis();
        due.cost_per_hour * (ends - due.at) / SECONDS_PER_HOUR
    }

    /// No engine before the site's hour.
    fn quiet(&self, site: &site::Model) -> Vec<Window> {
        site.quiet_until_second_of_day
            .map(|until| self.inputs.clock.wall(until))
            .filter(|until| *until > 0)
            .map(|until| Window {
                open: 0,
                close: until,
            })
            .into_iter()
            .collect()
    }

    /// Where the base plan has the job.
    fn previous(&self, stored: &job::Model) -> Option<Previous> {
        let (base, _) = self.inputs.base.as_ref()?;
        let stop = base.stop_of(&stored.id)?;
        let crew = self.crew_ids.iter().position(|id| *id == stop.crew_id)?;
        Some(Previous {
            crew: CrewIx::from_ix(crew),
            start: match (&self.inputs.base, self.inputs.continued.get(&stored.id)) {
                // The rest of a job that runs is not moved by going on.
                (Some((_, from)), Some(_)) => Ord::max(
                    self.inputs.clock.seconds(*from),
                    self.inputs.clock.seconds(stop.start_time),
                ),
                _ => self.inputs.clock.seconds(stop.start_time),
            },
            finish: self.inputs.clock.seconds(stop.finish_time),
        })
    }
}

/// The ways to do a task: one for each capability that serves.
fn methods(stored: &job::Model, site: &site::Model, task: &Task) -> Vec<WayOfWork> {
    let hindrance = Hindrance::of(stored, site, task.area_id.as_deref());
    let gate_mm = hindrance.gate_millimetres.map(millimetres_down);
    let slope_permille = permille_up(hindrance.slope_percent);
    if task.capabilities.is_empty() {
        return vec![WayOfWork {
            capability: None,
            gate_mm: None,
            slope_permille: 0,
        }];
    }
    task.capabilities
        .iter()
        .map(|capability| WayOfWork {
            capability: Some(capability_number(*capability)),
            gate_mm,
            slope_permille,
        })
        .collect()
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "clamped to a range that fits"
)]
fn millimetres_down(millimetres: f64) -> u32 {
    millimetres.clamp(0.0, 20_000.0).floor() as u32
}

#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "clamped to a range that fits"
)]
fn permille_up(percent: f64) -> u32 {
    (percent * 10.0).clamp(0.0, 2_000.0).ceil() as u32
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "clamped to a range that fits"
)]
fn seconds(minutes: f64) -> Seconds {
    (minutes * 60.0).clamp(0.0, 1.0e6).round() as Seconds
}
