//! The dispatcher's desk: from stored records to a planning problem, and from its answer back to records and words.
//!
//! Pure: it reads records that others loaded and makes records that others store. It knows the store's entities, the
//! planner and the trade library, but no query, no clock and no wire. Reading order: [`inputs`] (what a day is planned
//! from), [`problem`] (the planner's view of it), [`outcome`] (the plan as rows), [`changes`] (what differs between two
//! plans, in words), [`causes`] (why).

pub mod bench_queue;
pub mod causes;
pub mod changes;
pub mod clock;
pub mod compose;
pub mod drives;
pub mod estimate;
pub mod exposure;
pub mod facts;
pub mod heat;
pub mod hours;
pub mod inputs;
pub mod left_out;
pub mod lessons;
pub mod outcome;
pub mod paper_tag;
pub mod problem;
pub mod reasons;
pub mod sheets;
pub mod split;
pub mod stock;
pub mod stored_plan;
pub mod trade_map;
pub mod upkeep;
pub mod visit;
pub mod warm;

mod breaks;
mod calls;
mod crew_exposure;
mod deadlines;
mod fleet;
mod left_behind;
mod leg;
mod places;
mod progress;
mod promises;
mod refused;
mod roster;
mod scale;
mod service;
mod spells;
mod standing;
mod wanted;
mod whereabouts;
mod words;
mod worked;

pub use inputs::DayInputs;
pub use refused::{Record, Refusal};
pub use roster::{StaysIn, WAGE_MINOR_MAX};
pub use stored_plan::StoredPlan;
