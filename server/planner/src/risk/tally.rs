//! What the runs add up to for one crew.

use super::course::Course;
use super::links::{ActIx, Links};
use super::lives::Lives;
use super::{CrewRisk, Endangering, PromiseRisk, Risk};
use crate::Seconds;
use crate::index::{CrewIx, JobIx};
use crate::problem::Problem;
use crate::routing::Cancel;

/// A crew's figures so far.
pub(super) struct Tally<'c> {
    course: &'c Course<'c>,
    crew: usize,
    jobs: Vec<Figures>,
    overtime: Vec<Seconds>,
    over_limit: u32,
}

/// A job's figures so far.
struct Figures {
    job: JobIx,
    act: usize,
    /// Length of its work with each task at its median.
    median: Seconds,
    /// What may go otherwise if its work does.
    reached: Vec<ActIx>,
    /// Trouble, of all crews reached, that is spared if it takes its median.
    spared: Seconds,
    /// Runs in which its promise was kept, if there is one.
    kept: Option<u32>,
}

impl<'c> Tally<'c> {
    pub(super) fn new(
        problem: &Problem,
        course: &'c Course<'c>,
        links: &Links,
        crew: usize,
    ) -> Self {
        let jobs = course.works().map(|(act, work)| Figures {
            job: work.job,
            act,
            median: work.length.median(),
            reached: links.reached_from(ActIx { crew, act }),
            spared: 0,
            kept: problem.job(work.job).promise.map(|_| 0),
        });
        Self {
            course,
            crew,
            jobs: jobs.collect(),
            overtime: Vec::new(),
            over_limit: 0,
        }
    }

    /// Adds a run, or a part of it when cancelled.
    pub(super) fn count(&mut self, lives: &mut Lives, cancel: &Cancel) {
        let marks = lives.marks(self.crew);
        for job in &mut self.jobs {
            if let Some(kept) = &mut job.kept {
                *kept += u32::from(marks[job.act].kept);
            }
        }
        if let Some(back) = marks.last() {
            self.overtime.push(self.course.overtime(back.step.at));
            self.over_limit += u32::from(self.course.is_over_limit(back.step.at));
        }
        for job in &mut self.jobs {
            if cancel.is_raised() {
                return;
            }
            let known = ActIx {
                crew: self.crew,
                act: job.act,
            };
            job.spared += lives.spared(known, job.median, &job.reached);
        }
    }

    /// Adds the crew to what the simulation found.
    pub(super) fn add_to(mut self, risk: &mut Risk) {
        let runs = f64::from(risk.runs.max(1));
        for job in &self.jobs {
            risk.promises.extend(job.kept.map(|kept| PromiseRisk {
                job: job.job,
                kept: f64::from(kept) / runs,
            }));
            let seconds = job.spared as f64 / runs;
            if seconds > risk.most_endangering.map_or(0.0, |most| most.seconds) {
                risk.most_endangering = Some(Endangering {
                    crew: CrewIx::from_ix(self.crew),
                    job: job.job,
                    seconds,
                });
            }
        }
        self.overtime.sort_unstable();
        let late = self.overtime.iter().filter(|seconds| **seconds > 0).count();
        let sum: Seconds = self.overtime.iter().sum();
        risk.crews.push(CrewRisk {
            overtime: late as f64 / runs,
            overtime_seconds_mean: sum as f64 / runs,
            overtime_seconds_p90: self
                .overtime
                .get(self.overtime.len().saturating_sub(1) * 9 / 10)
                .copied()
                .unwrap_or(0),
            over_limit: f64::from(self.over_limit) / runs,
        });
    }
}
