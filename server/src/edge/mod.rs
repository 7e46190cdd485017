//! The edge: what is wire becomes domain here, and back.
//!
//! A handler checks and converts the request, says who calls, runs one use case, and converts the
//! answer. No rule of the trade lives here, and no wire type goes further in. Conversions take a
//! message apart completely, so that a new field breaks the build until someone decides about it.

mod bench;
mod branch;
mod caller;
mod capability;
mod case;
mod checks;
mod contact;
mod crew;
mod day;
mod etag;
mod exposure;
mod gathering;
mod heat;
mod import;
mod job;
mod label;
mod land;
mod mask;
mod measure;
mod money;
mod name;
mod page;
mod parent;
mod photos;
mod place;
mod plan;
mod services;
mod sign_in;
mod site;
mod status;
mod tag_out;
mod task_kind;
mod time;
mod transfer;
mod unit;
mod visit;

pub use services::{Services, State};
pub use sign_in::SignIn;
pub use status::ERROR_DOMAIN;
