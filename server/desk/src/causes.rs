//! Why a re-plan changes what it changes, in a dispatcher's words.
//!
//! Only what is a cause is told: what happened since the plan gone on from, where it keeps a stop from being as it was, or
//! makes room for one. What a job's time owes to the stops before it is reckoned from their lengths. A change that owes itself
//! to neither says that it goes along with others.

mod before;
mod crew;
mod job;
mod news;

use std::collections::BTreeMap;

use forenoon_planner::replan::{Because, Proposal};
use forenoon_store::entity::plan_stop;
use forenoon_store::value::{PlanChange, PlanChangeKind};

use crate::inputs::DayInputs;
use crate::problem::DayProblem;
use crate::roster::{StaysIn, who_goes};
use crate::stored_plan::StoredPlan;
use news::News;

/// What is asked for causes.
struct Causes<'a> {
    inputs: &'a DayInputs,
    before: &'a StoredPlan,
    after: &'a StoredPlan,
    news: News<'a>,
    /// Crews that stay in or cannot go on, by id, and why.
    gone: BTreeMap<&'a str, StaysIn>,
}

/// Changes of one plan against another, each of a job's with why it comes.
pub fn with_causes(
    inputs: &DayInputs,
    (before, after): (&StoredPlan, &StoredPlan),
    day: &DayProblem,
    mut changes: Vec<PlanChange>,
    proposal: &Proposal,
) -> Vec<PlanChange> {
    let causes = Causes {
        inputs,
        before,
        after,
        news: News::since(inputs, before),
        gone: who_goes(inputs)
            .into_iter()
            .filter_map(|(crew, leaving)| Some((crew.id.as_str(), leaving.err()?)))
            .collect(),
    };
    let of_jobs = changes.iter().filter(|change| change.job_id.is_some());
    let several = of_jobs.count() > 1;
    for change in &mut changes {
        let Some(job) = change.job_id.clone() else {
            continue;
        };
        let told = proposal
            .changes
            .iter()
            .find(|one| day.job_id(one.job) == job);
        let lost = told.and_then(|one| match one.because {
            Because::ToolLost(unit) => Some(day.unit_id(unit)),
            Because::OthersChange => None,
        });
        let why = lost
            .and_then(|unit| causes.unit_lost(unit))
            .or_else(|| causes.of(change, &job))
            .or_else(|| beside(change, several));
        if let Some(why) = why {
            change.text.push_str("; ");
            change.text.push_str(&why);
        }
    }
    changes
}

impl Causes<'_> {
    /// Why one change comes; none where nothing that happened is a cause of it.
    fn of(&self, change: &PlanChange, job: &str) -> Option<String> {
        let old = self.before.stop_of(job);
        let new = self.after.stop_of(job);
        match (change.kind, old, new) {
            (PlanChangeKind::Dropped, Some(old), _) => self
                .barred(old)
                .or_else(|| self.crew_pressed(old))
                .or_else(|| self.left_out(job)),
            (PlanChangeKind::Split, Some(old), _) => {
                self.barred(old).or_else(|| self.crew_pressed(old))
            }
            (PlanChangeKind::Crew, Some(old), Some(new)) => self
                .barred(old)
                .or_else(|| self.crew_pressed(old))
                .or_else(|| self.room(&new.crew_id)),
            (PlanChangeKind::Time, Some(old), Some(new)) => self
                .barred(old)
                .or_else(|| self.stops_before(old, new))
                .or_else(|| self.takes_longer(old, new)),
            (PlanChangeKind::Unit, Some(old), Some(new)) => self.unit_elsewhere(old, new),
            (PlanChangeKind::Added, _, Some(new)) => self.comes_in(new),
            _ => None,
        }
    }

    /// A unit that was lost.
    fn unit_lost(&self, id: &str) -> Option<String> {
        let unit = self.inputs.units.iter().find(|unit| unit.id == id)?;
        let what = if self.inputs.is_tagged_out(id) {
            "is tagged out"
        } else if self.inputs.forbidden(id).is_empty() {
            "is not to be had"
        } else {
            "is limited by its tag"
        };
        Some(format!("{} {what}", unit.display_name))
    }

    /// The name of a crew on screens.
    fn crew(&self, id: &str) -> String {
        let plans = [self.after, self.before];
        let day = plans.iter().find_map(|plan| plan.day_of(id));
        day.map_or_else(|| id.to_owned(), |day| day.crew_display_name.clone())
    }

    /// The name of a worker.
    fn worker(&self, id: &str) -> String {
        let mut workers = self.inputs.workers.iter();
        let known = workers.find(|worker| worker.id == id);
        known.map_or_else(|| id.to_owned(), |worker| worker.display_name.clone())
    }

    /// Whether a stop of the plan gone on from is still to end.
    fn is_to_come(&self, stop: &plan_stop::Model) -> bool {
        let from = self.inputs.base.as_ref().map(|(_, from)| *from);
        from.is_none_or(|from| stop.finish_time > from)
    }
}

/// What is said of a change that comes with others.
fn beside(change: &PlanChange, several: bool) -> Option<String> {
    let with_others = matches!(
        change.kind,
        PlanChangeKind::Crew | PlanChangeKind::Time | PlanChangeKind::Unit
    );
    (several && with_others).then(|| "goes along with the other changes".to_owned())
}

/// Minutes in words, rounded up.
fn minutes(seconds: i64) -> String {
    format!("{} min", (seconds + 59) / 60)
}
