//! Kinds of work, between wire and domain.

use forenoon_proto::v1;
use forenoon_store::value::TaskKind;

/// A kind of work as the wire has it.
pub(crate) const fn to_wire(kind: TaskKind) -> v1::TaskKind {
    match kind {
        TaskKind::WalkBefore => v1::TaskKind::WalkBefore,
        TaskKind::KnockDown => v1::TaskKind::KnockDown,
        TaskKind::CutBrush => v1::TaskKind::CutBrush,
        TaskKind::Edge => v1::TaskKind::Edge,
        TaskKind::Trim => v1::TaskKind::Trim,
        TaskKind::Mow => v1::TaskKind::Mow,
        TaskKind::SecondPass => v1::TaskKind::SecondPass,
        TaskKind::Collect => v1::TaskKind::Collect,
        TaskKind::BlowOff => v1::TaskKind::BlowOff,
        TaskKind::WalkAfter => v1::TaskKind::WalkAfter,
    }
}

/// A kind of work; none where unspecified.
pub(crate) const fn from_wire(kind: v1::TaskKind) -> Option<TaskKind> {
    match kind {
        v1::TaskKind::Unspecified => None,
        v1::TaskKind::WalkBefore => Some(TaskKind::WalkBefore),
        v1::TaskKind::KnockDown => Some(TaskKind::KnockDown),
        v1::TaskKind::CutBrush => Some(TaskKind::CutBrush),
        v1::TaskKind::Edge => Some(TaskKind::Edge),
        v1::TaskKind::Trim => Some(TaskKind::Trim),
        v1::TaskKind::Mow => Some(TaskKind::Mow),
        v1::TaskKind::SecondPass => Some(TaskKind::SecondPass),
        v1::TaskKind::Collect => Some(TaskKind::Collect),
        v1::TaskKind::BlowOff => Some(TaskKind::BlowOff),
        v1::TaskKind::WalkAfter => Some(TaskKind::WalkAfter),
    }
}
