//! Tag-outs: a tagged unit stays in until a mechanic releases it after an inspection.

mod advance;
mod limits;
mod raise;
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

use chrono::{DateTime, TimeDelta, Utc};
use forenoon_store::entity::tag_out;
use forenoon_store::sea_orm::sea_query::{Expr, ExprTrait as _};
use forenoon_store::value::{Severity, TagOutState};
use forenoon_trade::tagout::{self, State, Tag};

/// The resource name of a tag-out.
pub fn name(branch: &str, id: &str) -> String {
    format!("branches/{branch}/tagOuts/{id}")
}

/// Holds for tag-outs that are open. The word stands in the statement and is not bound: an index of the open ones is of no use
/// to a value that is not known when the statement is prepared.
pub(crate) fn open_tags() -> Expr {
    let state = Expr::col((tag_out::Entity, tag_out::Column::State));
    state.ne(Expr::Constant(TagOutState::Released.into()))
}

/// Clocks of servers and telephones differ by less: what is told to have begun so shortly before a tag may have begun after it.
const CLOCKS_APART: TimeDelta = TimeDelta::minutes(1);

/// When what is reported had begun, where that is told afterwards. None where it begins now.
pub(crate) fn told_after(
    given: Option<DateTime<Utc>>,
    now: DateTime<Utc>,
) -> Option<DateTime<Utc>> {
    given.filter(|begun| *begun + CLOCKS_APART <= now)
}

/// Whether the unit's tag forbids what begins now (none), or forbade already what is told to have begun at an instant. What
/// begins now is not compared with the tag's time: a clock set back must let no tagged unit out.
pub(crate) fn holds_at(tag: &tag_out::Model, begun: Option<DateTime<Utc>>) -> bool {
    holds_since(tag.since(), begun)
}

/// The same for what a tag forbids since an instant.
fn holds_since(since: DateTime<Utc>, begun: Option<DateTime<Utc>>) -> bool {
    begun.is_none_or(|begun| since - CLOCKS_APART <= begun)
}

/// A stored tag as the state machine looks at it.
fn standing(row: &tag_out::Model) -> Tag<&str> {
    Tag {
        state: state(row.state),
        repaired_by: row.repaired_by_id.as_deref(),
        inspected_by: row.inspected_by_id.as_deref(),
    }
}

/// The stored tag where the state machine has it next.
fn moved_on(row: &tag_out::Model, next: Tag<&str>) -> tag_out::Model {
    tag_out::Model {
        state: stored_state(next.state),
        repaired_by_id: next.repaired_by.map(str::to_owned),
        inspected_by_id: next.inspected_by.map(str::to_owned),
        ..row.clone()
    }
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
