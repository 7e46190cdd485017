//! Crew sheets: a plan in words that a crew can work by.

use std::collections::BTreeSet;

use forenoon_store::entity::{job, plan_stop, site, unit};
use forenoon_store::value::{Clippings, Contact, PlannedTask, Severity, TaskKind, UnitKind};

use crate::clock::DayClock;
use crate::inputs::DayInputs;
use crate::paper_tag::forbidden_words;
use crate::trade_map::Hindrance;

/// A stop in words.
#[derive(Clone, Debug, PartialEq)]
pub struct StopWords {
    /// The work in order, one line each.
    pub work_lines: Vec<String>,
    /// Where clippings may go.
    pub clippings: String,
    /// Whom to meet and when; empty where nobody.
    pub meeting: String,
    /// Until when, and who says so; empty where there is no deadline.
    pub deadline: String,
    /// Usual cautions.
    pub cautions: Vec<String>,
}

/// Puts a stop into words.
pub fn stop_words(
    inputs: &DayInputs,
    stop: &plan_stop::Model,
    job: &job::Model,
    site: &site::Model,
) -> StopWords {
    StopWords {
        work_lines: stop
            .tasks
            .0
            .iter()
            .map(|task| work_line(inputs, site, job, task))
            .collect(),
        clippings: clippings(site),
        meeting: meeting(inputs, job, site),
        deadline: deadline(&inputs.clock, job),
        cautions: stop_cautions(stop, job, site),
    }
}

/// One task, as `mow the back lawn with Stand-on 48, twice, 22 min`.
fn work_line(
    inputs: &DayInputs,
    site: &site::Model,
    job: &job::Model,
    task: &PlannedTask,
) -> String {
    let place = task
        .area_id
        .as_ref()
        .and_then(|id| site.areas.0.iter().find(|area| area.area_id == *id))
        .map_or_else(String::new, |area| {
            format!("{} {}", joint(task.kind), area.display_name)
        });
    let units: Vec<&str> = task
        .unit_ids
        .iter()
        .filter_map(|id| inputs.units.iter().find(|unit| unit.id == *id))
        .map(|unit| unit.display_name.as_str())
        .collect();
    let with = if units.is_empty() {
        String::new()
    } else {
        format!(" with {}", units.join(" on "))
    };
    let passes = job
        .tasks
        .0
        .iter()
        .find(|known| known.task_id == task.task_id)
        .map_or(1, |known| known.passes);
    let times = if passes > 1 {
        format!(", {passes} passes")
    } else {
        String::new()
    };
    format!(
        "{}{place}{with}{times}, {} min",
        verb(task.kind),
        minutes(task.duration_seconds)
    )
}

const fn verb(kind: TaskKind) -> &'static str {
    match kind {
        TaskKind::WalkBefore => "Walk the site first",
        TaskKind::KnockDown => "Knock down",
        TaskKind::CutBrush => "Cut the brush",
        TaskKind::Edge => "Edge",
        TaskKind::Trim => "Trim",
        TaskKind::Mow => "Mow",
        TaskKind::SecondPass => "Mow again, across",
        TaskKind::Collect => "Pick up",
        TaskKind::BlowOff => "Blow off",
        TaskKind::WalkAfter => "Walk the site last",
    }
}

/// What stands between the work and the name of its area.
const fn joint(kind: TaskKind) -> &'static str {
    match kind {
        TaskKind::CutBrush | TaskKind::Collect => " on",
        TaskKind::SecondPass => ",",
        _ => "",
    }
}

/// Whole minutes, at least one for any work at all.
fn minutes(seconds: i32) -> i32 {
    ((seconds + 30) / 60).max(i32::from(seconds > 0))
}

fn clippings(site: &site::Model) -> String {
    let rule = match site.clippings {
        Clippings::MayLie => "may lie on the turf",
        Clippings::CustomerHeap => "collect; they stay at the customer's heap",
        Clippings::TakeAway => "collect and take away",
    };
    if site.clippings_note.is_empty() {
        rule.to_owned()
    } else {
        format!("{rule}; {}", site.clippings_note)
    }
}

fn meeting(inputs: &DayInputs, job: &job::Model, site: &site::Model) -> String {
    let Some(promise) = &job.promise else {
        return String::new();
    };
    if promise.before_work && is_for_the_rest(inputs, job) {
        // The customer was met when the work began.
        return String::new();
    }
    let clock = &inputs.clock;
    let nobody = Contact::default();
    let contact = promise
        .contact
        .as_ref()
        .or(site.contact.as_ref())
        .unwrap_or(&nobody);
    let who = if contact.display_name.is_empty() {
        site.customer.as_str()
    } else {
        contact.display_name.as_str()
    };
    let phone = if contact.phone.is_empty() {
        String::new()
    } else {
        format!(" ({})", contact.phone)
    };
    format!(
        "{who}{phone} between {} and {}, {} the work",
        clock.words(promise.start_time),
        clock.words(promise.end_time),
        if promise.before_work {
            "before"
        } else {
            "after"
        }
    )
}

/// Whether the job's stop in the plan is for the rest of work that was broken off.
fn is_for_the_rest(inputs: &DayInputs, job: &job::Model) -> bool {
    let plan = inputs.base.iter().map(|(base, _)| &base.plan);
    plan.filter_map(|plan| plan.proposal.as_ref())
        .flat_map(|facts| &facts.continued)
        .any(|rest| rest.job_id == job.id)
}

fn deadline(clock: &DayClock, job: &job::Model) -> String {
    let Some(deadline) = job.deadline else {
        return String::new();
    };
    let when = deadline
        .with_timezone(&clock.zone())
        .format("%a %-d %b %H:%M");
    if job.deadline_source.is_empty() {
        format!("done by {when}")
    } else {
        format!("done by {when} ({})", job.deadline_source)
    }
}

/// Usual cautions for a stop.
fn stop_cautions(stop: &plan_stop::Model, job: &job::Model, site: &site::Model) -> Vec<String> {
    let tasks = stop.tasks.0.iter();
    let tasks = tasks.map(|task| (task.kind, task.area_id.as_deref()));
    work_cautions(&tasks.collect(), job, site)
}

/// Usual cautions for kinds of work, each on an area or on the whole site: what the work and the ground call for. Manuals
/// and local codes decide.
pub(crate) fn work_cautions(
    tasks: &BTreeSet<(TaskKind, Option<&str>)>,
    job: &job::Model,
    site: &site::Model,
) -> Vec<String> {
    let mut cautions = Vec::new();
    let hides = |kind| matches!(kind, TaskKind::KnockDown | TaskKind::CutBrush);
    if tasks.iter().any(|(kind, _)| hides(*kind)) {
        cautions.push(
            "Tall growth hides things: walk it before any machine goes in. Keep people and animals 15 m (50 ft) away."
                .to_owned(),
        );
    }
    if job.condition.wet {
        cautions.push("Wet ground: less grip, longer stopping distance.".to_owned());
    }
    let steepest = tasks
        .iter()
        // A walk of the whole site takes no machine onto its slopes.
        .filter(|(kind, area)| area.is_some() || !is_walk(*kind))
        .map(|(_, area)| Hindrance::of(job, site, *area).slope_percent)
        .fold(0.0, f64::max);
    if steepest >= STEEP_PERCENT {
        cautions.push(format!(
            "Slope up to {steepest:.0} %: keep to the machine manual's limit and direction."
        ));
    }
    if site.sensitive {
        cautions.push("Cars, glass or people near: blow off first, aim discharge away.".to_owned());
    }
    cautions
}

const fn is_walk(kind: TaskKind) -> bool {
    matches!(kind, TaskKind::WalkBefore | TaskKind::WalkAfter)
}

/// A slope from which a sheet speaks of it (about 8.5 degrees). Common practice, no source.
const STEEP_PERCENT: f64 = 15.0;

/// Usual cautions for a crew's day, by what it has aboard. They inform; manuals, local codes and training decide.
pub fn day_cautions<'a>(units: impl Iterator<Item = &'a unit::Model>) -> Vec<String> {
    let kinds: BTreeSet<UnitKind> = units.map(|unit| unit.kind).collect();
    let mut cautions = vec![
        "Eye and hearing protection, long trousers, sturdy shoes. Drink before you are thirsty."
            .to_owned(),
    ];
    if kinds.contains(&UnitKind::Attachment) {
        cautions.push(
            "Line and blade heads throw: face shield on, nobody within 15 m (50 ft). Engine off before you change a head."
                .to_owned(),
        );
    }
    if kinds.contains(&UnitKind::RideOnMower) || kinds.contains(&UnitKind::WalkMower) {
        cautions.push(
            "Blades stopped and engine off before you reach under a deck or lift it.".to_owned(),
        );
    }
    if kinds.contains(&UnitKind::Trailer) {
        cautions
            .push("Check hitch, safety chains, lights and tie-downs before you drive.".to_owned());
    }
    cautions.push("A machine that is not right: stop, tag it out, phone the yard.".to_owned());
    cautions
}

/// An open tag that limits a unit's use, in words; empty where there is none.
pub fn limit_words(inputs: &DayInputs, unit: &str) -> String {
    inputs
        .tags
        .get(unit)
        .filter(|tag| tag.severity == Severity::Reduced)
        .map_or_else(String::new, |tag| {
            let mut words = format!("tag {}: not to be used to {}", tag.id, forbidden_words(tag));
            if !tag.description.is_empty() {
                words.push_str("; ");
                words.push_str(&tag.description);
            }
            words
        })
}
