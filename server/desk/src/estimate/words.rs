//! The working and the cautions in words, in the branch's units of measure.

use std::collections::BTreeSet;

use forenoon_store::entity::unit;
use forenoon_store::value::{TaskKind, UnitSystem};
use forenoon_trade::estimate::{Effect, Line, Working};
use forenoon_trade::learn::Learned;
use forenoon_trade::source::Source;

use super::{Factor, Question, Timed};
use crate::sheets::{day_cautions, work_cautions};
use crate::trade_map::task_kind;

/// Feet in a metre, from the international foot (0.3048 m).
const FEET_PER_METRE: f64 = 1.0 / 0.3048;
/// Lengths from this many feet on are told in feet, shorter ones in inches.
const FEET_TOLD_FROM: f64 = 6.5;
const SECONDS_PER_HOUR: f64 = 3_600.0;
const FEET_PER_MILE: f64 = 5_280.0;

/// The working of a task.
pub(super) fn factors(working: &Working, learned: &Learned, system: UnitSystem) -> Vec<Factor> {
    let factors = working.lines().iter().map(|line| Factor {
        label: line.what.to_owned(),
        value: value(line, system),
        source: source(line, learned),
    });
    factors.collect()
}

/// The working of minutes that people agreed on.
pub(super) fn agreed(minutes: f64) -> Factor {
    Factor {
        label: "minutes agreed".to_owned(),
        value: format!("{minutes:.1} minutes"),
        source: "as given".to_owned(),
    }
}

fn value(line: &Line, system: UnitSystem) -> String {
    match line.effect {
        Effect::Start => format!("{:.2} minutes", line.value),
        Effect::Plus => format!("+ {:.2} minutes", line.value),
        Effect::Times => format!("x {:.3}", line.value),
        Effect::Note => measured(line.value, line.unit, system),
    }
}

fn measured(value: f64, unit: &str, system: UnitSystem) -> String {
    match (unit, system) {
        ("m2", UnitSystem::Si) => format!("{} square metres", figure(value)),
        ("m2", UnitSystem::UsCustomary) => {
            let feet = value * FEET_PER_METRE * FEET_PER_METRE;
            format!("{} square feet", figure(feet))
        }
        ("m2/s", UnitSystem::Si) => {
            format!("{} square metres an hour", figure(value * SECONDS_PER_HOUR))
        }
        ("m2/s", UnitSystem::UsCustomary) => {
            let feet = value * SECONDS_PER_HOUR * FEET_PER_METRE * FEET_PER_METRE;
            format!("{} square feet an hour", figure(feet))
        }
        ("m", UnitSystem::Si) => format!("{} metres", figure(value)),
        ("m", UnitSystem::UsCustomary) => {
            let feet = value * FEET_PER_METRE;
            if feet < FEET_TOLD_FROM {
                format!("{} inches", figure(feet * 12.0))
            } else {
                format!("{} feet", figure(feet))
            }
        }
        ("m/s", UnitSystem::Si) => {
            format!(
                "{} kilometres an hour",
                figure(value * SECONDS_PER_HOUR / 1_000.0)
            )
        }
        ("m/s", UnitSystem::UsCustomary) => {
            let miles = value * FEET_PER_METRE / FEET_PER_MILE * SECONDS_PER_HOUR;
            format!("{} miles an hour", figure(miles))
        }
        (unit, _) => format!("{} {unit}", figure(value)).trim_end().to_owned(),
    }
}

/// Whole from 100 on, else two digits after the point and no zeros at their end.
fn figure(value: f64) -> String {
    if value.abs() >= 100.0 {
        return format!("{value:.0}");
    }
    let text = format!("{value:.2}");
    let text = text.trim_end_matches('0');
    text.trim_end_matches('.').to_owned()
}

/// A learned factor tells how many records it rests on.
fn source(line: &Line, learned: &Learned) -> String {
    let part = learned
        .parts()
        .find(|part| line.source == Source::Learned && part.level.words() == line.what);
    part.map_or_else(
        || line.source.to_string(),
        |part| format!("{} of {} tasks", line.source, part.records),
    )
}

/// Units that were named and must not do some of the job's work.
pub(super) fn limited(question: &Question<'_>) -> Vec<String> {
    let chosen = question.chosen.iter();
    chosen
        .flat_map(|unit| {
            let kinds = forbidden(question, unit).into_iter();
            kinds.map(|kind| {
                let kind = task_kind(kind);
                format!(
                    "{} must not do the work \"{kind}\", by its tag",
                    unit.display_name
                )
            })
        })
        .collect()
}

/// Kinds of work of the job that a unit must not do, each once.
fn forbidden(question: &Question<'_>, unit: &unit::Model) -> BTreeSet<TaskKind> {
    let kinds = question.forbidden.get(&unit.id).into_iter().flatten();
    let wanted = |kind: &&TaskKind| question.job.tasks.0.iter().any(|task| task.kind == **kind);
    kinds.filter(wanted).copied().collect()
}

/// Units that were named and are of no use for the job.
pub(super) fn unused(question: &Question<'_>, timed: &[Timed<'_>]) -> Vec<String> {
    let used: BTreeSet<&str> = timed
        .iter()
        .flat_map(|one| &one.tool.units)
        .map(|unit| unit.id.as_str())
        .collect();
    question
        .chosen
        .iter()
        .filter(|unit| !used.contains(unit.id.as_str()) && forbidden(question, unit).is_empty())
        .map(|unit| format!("{} is not needed for the job", unit.display_name))
        .collect()
}

/// Usual cautions for the work, and for the tools it is done with.
pub(super) fn cautions(question: &Question<'_>, timed: &[Timed<'_>]) -> Vec<String> {
    let tasks = timed.iter().map(|one| &one.answer.task);
    let tasks = tasks.map(|task| (task.kind, task.area_id.as_deref()));
    let units = timed.iter().flat_map(|one| one.tool.units.iter().copied());
    let mut cautions = work_cautions(&tasks.collect(), question.job, question.site);
    cautions.extend(day_cautions(units));
    cautions
}
