//! The search: greedy insertion first, then ruin and recreate, where a plan may become dearer by less and less.

pub(crate) mod anneal;
pub(crate) mod class_set;
pub(crate) mod clock;
pub(crate) mod eject;
mod equip;
pub(crate) mod greedy;
pub(crate) mod hand_on;
pub(crate) mod insertion;
pub(crate) mod keep;
pub(crate) mod load;
pub(crate) mod load_out;
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
pub(crate) mod trade;
pub(crate) mod undo;
pub(crate) mod unload;
pub(crate) mod walk;
