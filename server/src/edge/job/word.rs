//! The words of jobs, between wire and domain.

use forenoon_proto::v1;
use forenoon_store::value::{JobState, TurfDensity};

pub(super) fn state_to_wire(state: JobState) -> v1::JobState {
    match state {
        JobState::Open => v1::JobState::Open,
        JobState::Running => v1::JobState::Running,
        JobState::Done => v1::JobState::Done,
        JobState::Cancelled => v1::JobState::Cancelled,
    }
}

pub(super) fn state_from_wire(state: v1::JobState) -> Option<JobState> {
    match state {
        v1::JobState::Unspecified => None,
        v1::JobState::Open => Some(JobState::Open),
        v1::JobState::Running => Some(JobState::Running),
        v1::JobState::Done => Some(JobState::Done),
        v1::JobState::Cancelled => Some(JobState::Cancelled),
    }
}

pub(super) fn density_to_wire(density: TurfDensity) -> v1::TurfDensity {
    match density {
        TurfDensity::Thin => v1::TurfDensity::Thin,
        TurfDensity::Ordinary => v1::TurfDensity::Ordinary,
        TurfDensity::Thick => v1::TurfDensity::Thick,
    }
}

pub(super) fn density_from_wire(density: v1::TurfDensity) -> Option<TurfDensity> {
    match density {
        v1::TurfDensity::Unspecified => None,
        v1::TurfDensity::Thin => Some(TurfDensity::Thin),
        v1::TurfDensity::Ordinary => Some(TurfDensity::Ordinary),
        v1::TurfDensity::Thick => Some(TurfDensity::Thick),
    }
}
