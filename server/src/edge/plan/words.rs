//! Enumerations of plans, between wire and domain.

use forenoon_proto::v1;
use forenoon_store::value::{LaterReasonKind, PlanChangeKind, PlanState, ReasonKind, Remedy};

/// A plan's state as the wire has it.
pub(super) const fn state(state: PlanState) -> v1::PlanState {
    match state {
        PlanState::Draft => v1::PlanState::Draft,
        PlanState::Published => v1::PlanState::Published,
        PlanState::Replaced => v1::PlanState::Replaced,
        PlanState::Discarded => v1::PlanState::Discarded,
    }
}

/// A plan's state; none where unspecified.
pub(super) const fn state_from_wire(state: v1::PlanState) -> Option<PlanState> {
    match state {
        v1::PlanState::Unspecified => None,
        v1::PlanState::Draft => Some(PlanState::Draft),
        v1::PlanState::Published => Some(PlanState::Published),
        v1::PlanState::Replaced => Some(PlanState::Replaced),
        v1::PlanState::Discarded => Some(PlanState::Discarded),
    }
}

/// A kind of cause as the wire has it.
pub(super) const fn reason_kind(kind: ReasonKind) -> v1::ReasonKind {
    match kind {
        ReasonKind::NoCapability => v1::ReasonKind::NoCapability,
        ReasonKind::UnitTaggedOut => v1::ReasonKind::UnitTaggedOut,
        ReasonKind::UnitAbsent => v1::ReasonKind::UnitAbsent,
        ReasonKind::UnitElsewhere => v1::ReasonKind::UnitElsewhere,
        ReasonKind::GateTooNarrow => v1::ReasonKind::GateTooNarrow,
        ReasonKind::SlopeTooSteep => v1::ReasonKind::SlopeTooSteep,
        ReasonKind::SkillMissing => v1::ReasonKind::SkillMissing,
        ReasonKind::WindowMissed => v1::ReasonKind::WindowMissed,
        ReasonKind::ShiftFull => v1::ReasonKind::ShiftFull,
        ReasonKind::LoadSpaceFull => v1::ReasonKind::LoadSpaceFull,
        ReasonKind::PromiseConflict => v1::ReasonKind::PromiseConflict,
        ReasonKind::NoCrew => v1::ReasonKind::NoCrew,
        ReasonKind::Outranked => v1::ReasonKind::Outranked,
        ReasonKind::ExposureLimit => v1::ReasonKind::ExposureLimit,
        ReasonKind::TooHot => v1::ReasonKind::TooHot,
    }
}

/// A later kind of cause as the wire has it.
pub(super) const fn later_reason_kind(kind: LaterReasonKind) -> v1::ReasonKind {
    match kind {
        LaterReasonKind::OnAnotherDay => v1::ReasonKind::OnAnotherDay,
        LaterReasonKind::Unfinished => v1::ReasonKind::Unfinished,
        LaterReasonKind::WindowOver => v1::ReasonKind::WindowOver,
    }
}

/// How reasons go together, as the wire has it.
pub(super) const fn remedy(remedy: Remedy) -> v1::Remedy {
    match remedy {
        Remedy::AnyOne => v1::Remedy::AnyOne,
        Remedy::AllTogether => v1::Remedy::AllTogether,
    }
}

/// A kind of change as the wire has it.
pub(super) const fn change_kind(kind: PlanChangeKind) -> v1::PlanChangeKind {
    match kind {
        PlanChangeKind::Crew => v1::PlanChangeKind::Crew,
        PlanChangeKind::Time => v1::PlanChangeKind::Time,
        PlanChangeKind::Dropped => v1::PlanChangeKind::Dropped,
        PlanChangeKind::Added => v1::PlanChangeKind::Added,
        PlanChangeKind::Split => v1::PlanChangeKind::Split,
        PlanChangeKind::Unit => v1::PlanChangeKind::Unit,
        PlanChangeKind::Loaded => v1::PlanChangeKind::Loaded,
        PlanChangeKind::Unloaded => v1::PlanChangeKind::Unloaded,
    }
}
