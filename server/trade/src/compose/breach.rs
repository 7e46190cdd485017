//! Whether a list of tasks that someone has edited still keeps the rules.

use super::rules::{needs_knock_down, stage};
use super::{Debris, Visit};
use crate::estimate::gap_after_line_edging;
use crate::site::AreaKind;
use crate::task::{Method, TaskKind};
use core::fmt;

/// A task as a person may have put it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Step {
    /// The kind of work.
    pub kind: TaskKind,
    /// How it is done.
    pub method: Method,
    /// The area it is done on, by its place in the visit's areas.
    pub area: Option<usize>,
}

/// A rule not kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Breach {
    /// There is no walk before, or none after.
    WalkMissing(TaskKind),
    /// A task stands before one it must follow.
    OutOfOrder {
        /// What stands first.
        first: TaskKind,
        /// What should stand before it.
        then: TaskKind,
    },
    /// A line head is the method on a hard edge.
    LineHeadOnHardEdge {
        /// The area.
        area: Option<usize>,
    },
    /// A mower is sent where the growth has not been knocked down.
    MowerWithoutKnockDown {
        /// The area.
        area: usize,
    },
    /// Debris that cannot be blown is to be blown.
    BlowingWhatCannotBeBlown,
    /// The method cannot do the task.
    WrongMethod(TaskKind, Method),
}

impl fmt::Display for Breach {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::WalkMissing(kind) => write!(f, "the task {kind} is missing"),
            Self::OutOfOrder { first, then } => write!(f, "{then} comes before {first}"),
            Self::LineHeadOnHardEdge { .. } => write!(
                f,
                "a line head kept as the edging method widens the gap, to {} in by the third service after a clean cut; use an edger",
                gap_after_line_edging(3).to_inches()
            ),
            Self::MowerWithoutKnockDown { .. } => {
                f.write_str("the growth must be knocked down before a mower goes in")
            }
            Self::BlowingWhatCannotBeBlown => {
                f.write_str("debris here cannot be blown off; collect it")
            }
            Self::WrongMethod(kind, method) => write!(f, "{method} is not a method for {kind}"),
        }
    }
}

/// Every rule the steps do not keep, in the order they are found.
pub fn breaches(visit: &Visit<'_>, steps: &[Step]) -> Vec<Breach> {
    let mut found = Vec::new();
    for kind in [TaskKind::WalkBefore, TaskKind::WalkAfter] {
        if !steps.iter().any(|step| step.kind == kind) {
            found.push(Breach::WalkMissing(kind));
        }
    }
    let stages = |step: &Step| stage(step.kind, step.method, visit.sensitive);
    for (first, then) in steps.iter().zip(steps.iter().skip(1)) {
        if stages(first) > stages(then) {
            found.push(Breach::OutOfOrder {
                first: first.kind,
                then: then.kind,
            });
        }
    }
    for step in steps {
        if !step.method.can_do(step.kind) {
            found.push(Breach::WrongMethod(step.kind, step.method));
        }
        if step.kind == TaskKind::Edge && step.method == Method::LineHead {
            found.push(Breach::LineHeadOnHardEdge { area: step.area });
        }
        if step.kind == TaskKind::BlowOff && visit.debris == Debris::MustCollect {
            found.push(Breach::BlowingWhatCannotBeBlown);
        }
    }
    for (index, area) in visit.areas.iter().enumerate() {
        let on = |kind| {
            steps
                .iter()
                .any(|step| step.kind == kind && step.area == Some(index))
        };
        if matches!(area.kind, AreaKind::Turf(_))
            && needs_knock_down(&area.condition)
            && on(TaskKind::Mow)
            && !on(TaskKind::KnockDown)
        {
            found.push(Breach::MowerWithoutKnockDown { area: index });
        }
    }
    found
}
