//! What differs between two plans of a day, in a dispatcher's words.

use std::collections::BTreeSet;

use chrono::TimeDelta;
use forenoon_store::entity::plan_stop;
use forenoon_store::value::{PlanChange, PlanChangeKind, SplitJob, TaskKind};

use crate::deadlines::missed;
use crate::inputs::DayInputs;
use crate::promises::breaks;
use crate::stored_plan::StoredPlan;

/// A start that moves by no more than this is no change worth telling. Common practice, no source.
const TOLERANCE: TimeDelta = TimeDelta::minutes(10);
/// A customer is phoned when the visit moves by more than this. Common practice, no source.
const PHONE_FROM: TimeDelta = TimeDelta::minutes(30);

/// What a new plan changes.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Changes {
    /// The changes, the gravest first.
    pub list: Vec<PlanChange>,
    /// Sites whose customers are to be phoned, by id.
    pub sites_to_phone: Vec<String>,
}

/// Compares a new plan with the one that crews go by.
pub fn changes(inputs: &DayInputs, before: &StoredPlan, after: &StoredPlan) -> Changes {
    let names = Names {
        inputs,
        before,
        after,
    };
    let mut found: Vec<(u8, PlanChange)> = Vec::new();
    let late = missed(inputs, before, after);
    let overdue = inputs.jobs.iter().filter(|job| late.contains_key(&job.id));
    let mut phone: BTreeSet<String> = overdue.map(|job| job.site_id.clone()).collect();
    for stop in &before.parts.stops {
        let new = after.stop_of(&stop.job_id);
        let broken = breaks(inputs, before, after, &stop.job_id)
            .filter(|_| new.is_some() || is_over(inputs, &stop.job_id).is_none());
        let late = late.get(&stop.job_id);
        let change = names.moved(stop, new).or_else(|| {
            let broken = broken.as_ref()?;
            Some(names.later(stop, new?, &broken.words))
        });
        let told = match (change, late) {
            (Some(change), late) => Some(also(change, late)),
            (None, Some(late)) => new.map(|new| names.later(stop, new, late)),
            (None, None) => None,
        };
        found.extend(told.map(|change| (gravity(change.kind), change)));
        found.extend(
            new.filter(|_| !inputs.split.contains_key(&stop.job_id))
                .and_then(|new| names.other_unit(stop, new))
                .map(|change| (gravity(change.kind), change)),
        );
        let split = inputs.split.get(&stop.job_id).filter(|_| new.is_some());
        found.extend(split.map(|split| (gravity(PlanChangeKind::Split), names.split(stop, split))));
        let moves = match new {
            Some(new) => worth_a_call(inputs, stop, new),
            // Who called it off, or saw the crew do it or give it up, knows.
            None => is_over(inputs, &stop.job_id).is_none(),
        };
        // Where the work runs, the meeting after it may still be later.
        if broken.is_some() || (!stop.fixed && (split.is_some() || moves)) {
            phone.insert(stop.site_id.clone());
        }
    }
    for stop in &after.parts.stops {
        if before.stop_of(&stop.job_id).is_none() {
            let change = also(names.added(stop), late.get(&stop.job_id));
            found.push((gravity(change.kind), change));
        }
    }
    found.extend(
        names
            .load_outs()
            .into_iter()
            .map(|change| (gravity(change.kind), change)),
    );
    found.sort_by(|a, b| (a.0, &a.1.job_id, &a.1.unit_id).cmp(&(b.0, &b.1.job_id, &b.1.unit_id)));
    Changes {
        list: found.into_iter().map(|(_, change)| change).collect(),
        sites_to_phone: phone.into_iter().collect(),
    }
}

/// Whether the customer should hear that the visit moves.
pub(crate) fn worth_a_call(
    inputs: &DayInputs,
    old: &plan_stop::Model,
    new: &plan_stop::Model,
) -> bool {
    shift(inputs, old, new).abs() > PHONE_FROM
}

/// By how much what the crew is still to do moves. What has begun moves no more; a job broken off goes on later than now.
fn shift(inputs: &DayInputs, old: &plan_stop::Model, new: &plan_stop::Model) -> TimeDelta {
    if new.crew_id == old.crew_id && new.fixed {
        return TimeDelta::zero();
    }
    let expected = match &inputs.base {
        Some((_, now)) if inputs.goes_on(&old.job_id) => Ord::max(old.start_time, *now),
        _ => old.start_time,
    };
    new.start_time - expected
}

/// Why a job of the plan gone on from is not to be done any more that day, whatever is planned: the customer called it off, it
/// is done, or its crew gave it up at the site. None where it might still be done.
pub(crate) fn is_over(inputs: &DayInputs, job: &str) -> Option<&'static str> {
    if !inputs.jobs.iter().any(|known| known.id == job) {
        return Some("is called off");
    }
    if inputs.is_done(job) {
        return Some("is done");
    }
    inputs.was_given_up(job).then_some("was given up")
}

const fn gravity(kind: PlanChangeKind) -> u8 {
    match kind {
        PlanChangeKind::Dropped => 0,
        PlanChangeKind::Split => 1,
        PlanChangeKind::Crew => 2,
        PlanChangeKind::Time => 3,
        PlanChangeKind::Unit => 4,
        PlanChangeKind::Added => 5,
        PlanChangeKind::Unloaded => 6,
        PlanChangeKind::Loaded => 7,
    }
}

struct Names<'a> {
    inputs: &'a DayInputs,
    before: &'a StoredPlan,
    after: &'a StoredPlan,
}

impl Names<'_> {
    fn crew(&self, id: &str) -> String {
        [self.after, self.before]
            .iter()
            .find_map(|plan| plan.day_of(id))
            .map_or_else(|| id.to_owned(), |day| day.crew_display_name.clone())
    }

    fn unit(&self, id: &str) -> String {
        self.inputs
            .units
            .iter()
            .find(|unit| unit.id == id)
            .map_or_else(|| id.to_owned(), |unit| unit.display_name.clone())
    }

    fn units(&self, ids: &BTreeSet<&str>) -> String {
        let names: Vec<String> = ids.iter().map(|id| self.unit(id)).collect();
        names.join(" and ")
    }

    fn clock(&self, stop: &plan_stop::Model) -> String {
        self.inputs.clock.words(stop.start_time)
    }

    /// A job that leaves the day, its crew or its time.
    fn moved(&self, old: &plan_stop::Model, new: Option<&plan_stop::Model>) -> Option<PlanChange> {
        let site = &old.site_display_name;
        let Some(new) = new else {
            let why = is_over(self.inputs, &old.job_id).unwrap_or_else(|| {
                if self.inputs.runs_elsewhere(&old.job_id) {
                    "leaves the day, as a crew has it under way since another: let them report its end"
                } else {
                    "leaves the day"
                }
            });
            return Some(PlanChange {
                text: format!(
                    "{site} {why}; {} had it at {}",
                    self.crew(&old.crew_id),
                    self.clock(old)
                ),
                from_crew_id: Some(old.crew_id.clone()),
                ..blank(PlanChangeKind::Dropped, Some(&old.job_id))
            });
        };
        let shift = shift(self.inputs, old, new);
        let common = PlanChange {
            from_crew_id: Some(old.crew_id.clone()),
            to_crew_id: Some(new.crew_id.clone()),
            shift_seconds: shift.num_seconds(),
            ..blank(PlanChangeKind::Time, Some(&old.job_id))
        };
        if old.crew_id != new.crew_id {
            return Some(PlanChange {
                kind: PlanChangeKind::Crew,
                text: format!(
                    "{site} goes from {} at {} to {} at {}",
                    self.crew(&old.crew_id),
                    self.clock(old),
                    self.crew(&new.crew_id),
                    self.clock(new)
                ),
                ..common
            });
        }
        let text = if self.inputs.goes_on(&old.job_id) {
            format!("{site} goes on at {}", self.clock(new))
        } else {
            format!(
                "{site} begins at {} and not at {}",
                self.clock(new),
                self.clock(old)
            )
        };
        (shift.abs() > TOLERANCE).then_some(PlanChange { text, ..common })
    }

    /// A job that moves by too little to be told, or by nothing but its end, and breaks its promise.
    fn later(&self, old: &plan_stop::Model, new: &plan_stop::Model, promise: &str) -> PlanChange {
        PlanChange {
            text: format!("{}: {promise}", old.site_display_name),
            from_crew_id: Some(old.crew_id.clone()),
            to_crew_id: Some(new.crew_id.clone()),
            shift_seconds: shift(self.inputs, old, new).num_seconds(),
            ..blank(PlanChangeKind::Time, Some(&old.job_id))
        }
    }

    /// A job that stays with its crew and is done with other units.
    fn other_unit(&self, old: &plan_stop::Model, new: &plan_stop::Model) -> Option<PlanChange> {
        let (old_units, new_units) = (old.tasks.unit_ids(), new.tasks.unit_ids());
        if old_units == new_units || old.crew_id != new.crew_id {
            return None;
        }
        let gone: BTreeSet<&str> = old_units.difference(&new_units).copied().collect();
        let come: BTreeSet<&str> = new_units.difference(&old_units).copied().collect();
        let site = &old.site_display_name;
        let text = match (come.is_empty(), gone.is_empty()) {
            (false, false) => format!(
                "{site} is done with {} in place of {}",
                self.units(&come),
                self.units(&gone)
            ),
            (false, true) => format!("{site} is done with {} as well", self.units(&come)),
            (true, _) => format!("{site} is done without {}", self.units(&gone)),
        };
        Some(PlanChange {
            text,
            from_crew_id: Some(old.crew_id.clone()),
            to_crew_id: Some(new.crew_id.clone()),
            unit_id: come.first().map(|id| (*id).to_owned()),
            ..blank(PlanChangeKind::Unit, Some(&old.job_id))
        })
    }

    /// A job of which a part waits for another day.
    fn split(&self, old: &plan_stop::Model, split: &SplitJob) -> PlanChange {
        PlanChange {
            text: format!(
                "{}: {} waits for another day, the rest of the work is done{}",
                old.site_display_name,
                left_words(self.inputs, split),
                self.priced_twice(split)
            ),
            from_crew_id: Some(old.crew_id.clone()),
            ..blank(PlanChangeKind::Split, Some(&old.job_id))
        }
    }

    /// What a dispatcher should know of the price of a split job: each part has its own, where none is agreed.
    fn priced_twice(&self, split: &SplitJob) -> &'static str {
        let mut jobs = self.inputs.jobs.iter();
        let job = jobs.find(|job| job.id == split.job_id);
        let minimum = self.inputs.branch.price.minimum_charge_minor;
        if job.is_some_and(|job| job.price_minor.is_none())
            && minimum.is_some_and(|least| least > 0)
        {
            "; no price is agreed, so the minimum charge falls on both parts"
        } else {
            ""
        }
    }

    fn added(&self, stop: &plan_stop::Model) -> PlanChange {
        PlanChange {
            text: format!(
                "{} comes into the day, {} at {}",
                stop.site_display_name,
                self.crew(&stop.crew_id),
                self.clock(stop)
            ),
            to_crew_id: Some(stop.crew_id.clone()),
            ..blank(PlanChangeKind::Added, Some(&stop.job_id))
        }
    }

    /// Units that change the vehicle they ride on.
    fn load_outs(&self) -> Vec<PlanChange> {
        let carried = |plan: &'_ StoredPlan| -> BTreeSet<(String, String)> {
            plan.parts
                .load_outs
                .iter()
                // What a crew has put down already is no change.
                .filter(|row| {
                    let over = |until| self.inputs.has_reached(&row.crew_id, until);
                    !row.until_time.is_some_and(over)
                })
                .map(|row| (row.unit_id.clone(), row.crew_id.clone()))
                .collect()
        };
        let (old, new) = (carried(self.before), carried(self.after));
        let left = old.difference(&new).map(|(unit, crew)| PlanChange {
            text: format!("{} leaves {}", self.unit(unit), self.crew(crew)),
            from_crew_id: Some(crew.clone()),
            unit_id: Some(unit.clone()),
            ..blank(PlanChangeKind::Unloaded, None)
        });
        let taken = new.difference(&old).map(|(unit, crew)| PlanChange {
            text: self.taken(unit, crew),
            to_crew_id: Some(crew.clone()),
            unit_id: Some(unit.clone()),
            ..blank(PlanChangeKind::Loaded, None)
        });
        left.chain(taken).collect()
    }
}

impl Names<'_> {
    /// A unit that comes aboard, at the yard on the way or before leaving.
    fn taken(&self, unit: &str, crew: &str) -> String {
        let call = self
            .after
            .calls_of(crew)
            .find(|call| call.load.iter().any(|known| known == unit));
        let before = self
            .after
            .shared_of(crew)
            .find_map(|shared| shared.before.filter(|before| before.unit_id == unit));
        let (crew, unit) = (self.crew(crew), self.unit(unit));
        let Some(call) = call else {
            return match before {
                Some(other) => format!(
                    "{unit} goes aboard with {crew} once {} has brought it back",
                    self.crew(&other.crew_id)
                ),
                None => format!("{unit} goes aboard with {crew}"),
            };
        };
        let when = self.inputs.clock.words(call.begins());
        let Some(giver) = &call.with_crew_id else {
            let fetches = format!("{crew} fetches {unit} from the yard at {when}");
            return match before {
                Some(other) => format!(
                    "{fetches}, where {} puts it down",
                    self.crew(&other.crew_id)
                ),
                None => fetches,
            };
        };
        let place = call
            .site_id
            .as_ref()
            .and_then(|id| self.inputs.sites.get(id))
            .map_or("the yard", |site| site.display_name.as_str());
        format!(
            "{crew} meets {} at {place} at {when} and takes {unit} over",
            self.crew(giver)
        )
    }
}

/// The work of a split job that waits, as "mowing and the second pass".
pub(crate) fn left_words(inputs: &DayInputs, split: &SplitJob) -> String {
    let job = inputs
        .base
        .as_ref()
        .and_then(|(base, _)| base.stop_of(&split.job_id));
    let mut words: Vec<&str> = job
        .into_iter()
        .flat_map(|stop| &stop.tasks.0)
        .filter(|task| split.later.contains(&task.task_id) && !split.today.contains(&task.task_id))
        .map(|task| work(task.kind))
        .collect();
    words.dedup();
    words.join(" and ")
}

/// A kind of work, as "mowing".
pub(crate) const fn work(kind: TaskKind) -> &'static str {
    match kind {
        TaskKind::WalkBefore | TaskKind::WalkAfter => "the walkthrough",
        TaskKind::KnockDown => "knocking down",
        TaskKind::CutBrush => "cutting brush",
        TaskKind::Edge => "edging",
        TaskKind::Trim => "trimming",
        TaskKind::Mow => "mowing",
        TaskKind::SecondPass => "the second pass",
        TaskKind::Collect => "collecting",
        TaskKind::BlowOff => "blow-off",
    }
}

/// A change with what becomes of the job's deadline.
fn also(mut change: PlanChange, late: Option<&String>) -> PlanChange {
    if let Some(late) = late {
        change.text.push_str("; ");
        change.text.push_str(late);
    }
    change
}

fn blank(kind: PlanChangeKind, job: Option<&str>) -> PlanChange {
    PlanChange {
        kind,
        text: String::new(),
        job_id: job.map(str::to_owned),
        from_crew_id: None,
        to_crew_id: None,
        unit_id: None,
        shift_seconds: 0,
    }
}
