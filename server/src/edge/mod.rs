//! The edge: what is wire becomes domain here, and back.
//!
//! A handler checks and converts the request, says who calls, runs one use case, and converts the
//! answer. No rule of the trade lives here, and no wire type goes further in. Conversions take a
//! message apart completely, so that a new field breaks the build until someone decides about it.

mod bench;
mod branch;
mod caller;
#[allow(
    dead_code,
    reason = "parts of it wait for the services of sites, crews, units and jobs"
)]
mod checks;
#[allow(
    dead_code,
    reason = "parts of it wait for the services of sites, crews, units and jobs"
)]
mod contact;
mod etag;
mod mask;
#[allow(
    dead_code,
    reason = "parts of it wait for the services of sites, crews, units and jobs"
)]
mod measure;
mod money;
#[allow(
    dead_code,
    reason = "parts of it wait for the services of sites, crews, units and jobs"
)]
mod name;
#[allow(
    dead_code,
    reason = "parts of it wait for the services of sites, crews, units and jobs"
)]
mod page;
#[allow(
    dead_code,
    reason = "parts of it wait for the services of sites, crews, units and jobs"
)]
mod place;
mod plan;
mod services;
mod status;
mod tag_out;
mod task_kind;
#[allow(
    dead_code,
    reason = "parts of it wait for the services of sites, crews, units and jobs"
)]
mod time;
mod visit;

pub use services::{Services, State};
pub use status::ERROR_DOMAIN;
