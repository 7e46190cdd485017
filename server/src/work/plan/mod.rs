//! Day plans: made, published, replaced, put on sheets.

mod accept;
mod assess;
mod day;
mod discard;
mod elsewhere;
mod hand_over;
mod late;
mod learning;
mod lease;
mod make;
mod obstacles;
mod overtaken;
mod past;
mod prepare;
mod propose;
mod publish;
mod read;
mod roads;
mod sheets;
mod solve;
mod split;
mod throw_away;
mod try_change;
mod under_way;
mod unfinished;
mod untold;
mod write;

pub use accept::AcceptProposal;
pub use assess::{AssessRequest, Assessed, CrewChance, assess};
pub(crate) use day::{clock, jobs_by_id, sites};
pub use discard::DiscardPlan;
pub(crate) use late::plans_at_work;
pub use learning::Learning;
pub use lease::{Held, LeaseLimits, Leases, plan_scope, replan_scope};
pub use make::{PlanRequest, StorePlan, make};
pub(crate) use past::past_of;
pub use propose::{ReplanRequest, StoreProposals, propose};
pub use publish::PublishPlan;
pub use read::{PlanFilter, get, list, load, published, published_with};
pub use roads::{KnownRoads, RoadsError, read_roads};
pub use sheets::{CrewSheet, SheetStop, sheets};
pub use solve::{SearchLimits, SearchSettings, Searches};
pub use throw_away::{sweep, throw_old_drafts_away};
pub use try_change::{Change as TriedChange, Tried, TryRequest, try_change};
pub use write::Draft;

/// The resource name of a plan.
pub fn name(branch: &str, id: &str) -> String {
    format!("branches/{branch}/plans/{id}")
}
