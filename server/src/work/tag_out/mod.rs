//! Tag-outs: a tagged unit stays in until a mechanic releases it after an inspection.

mod advance;
mod limits;
mod read;
mod render;
mod reopen;
mod tag;

pub use advance::{Advance, Step};
pub(crate) use limits::{misused_at, misuses};
pub use read::{TagOutFilter, get, list};
pub use render::render;
pub use reopen::Reopen;
pub use tag::{TagOut, Tagged};

use forenoon_store::value::{Severity, TagOutState};
use forenoon_trade::tagout::{self, State};

/// The resource name of a tag-out.
pub fn name(branch: &str, id: &str) -> String {
    format!("branches/{branch}/tagOuts/{id}")
}

/// The state in the trade's words.
const fn state(stored: TagOutState) -> State {
    match stored {
        TagOutState::Tagged => State::Tagged,
        TagOutState::Diagnosed => State::Diagnosed,
        TagOutState::WaitingForParts => State::WaitingForParts,
        TagOutState::Repaired => State::Repaired,
        TagOutState::Inspected => State::Inspected,
        TagOutState::Released => State::Released,
    }
}

/// The state as it is stored.
const fn stored_state(state: State) -> TagOutState {
    match state {
        State::Tagged => TagOutState::Tagged,
        State::Diagnosed => TagOutState::Diagnosed,
        State::WaitingForParts => TagOutState::WaitingForParts,
        State::Repaired => TagOutState::Repaired,
        State::Inspected => TagOutState::Inspected,
        State::Released => TagOutState::Released,
    }
}

/// Whether a unit with a tag of this state and severity may go out.
pub(crate) const fn may_go_out(stored: TagOutState, severity: Severity) -> bool {
    let severity = match severity {
        Severity::Unsafe => tagout::Severity::Unsafe,
        Severity::Reduced => tagout::Severity::Reduced,
    };
    tagout::may_go_out(state(stored), severity)
}
