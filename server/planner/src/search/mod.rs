//! The search: greedy insertion first, then ruin and recreate, where a plan may become dearer by less and less. Re-plans put
//! the best days of all plans that they met with together.

pub(crate) mod anneal;
mod arrange;
mod choose;
pub(crate) mod class_set;
pub(crate) mod clock;
pub(crate) mod compare;
pub(crate) mod eject;
mod equip;
pub(crate) mod greedy;
pub(crate) mod hand_on;
pub(crate) mod insertion;
pub(crate) mod keep;
pub(crate) mod load;
mod load_meetings;
pub(crate) mod load_out;
mod meeting;
pub(crate) mod model;
pub(crate) mod recreate;
pub(crate) mod removal;
pub(crate) mod rounds;
pub(crate) mod route;
pub(crate) mod ruin;
pub(crate) mod scan;
pub(crate) mod scope;
pub(crate) mod services;
pub(crate) mod shares;
pub(crate) mod slack;
pub(crate) mod state;
mod stints;
pub(crate) mod trade;
pub(crate) mod undo;
pub(crate) mod unload;
pub(crate) mod walk;
