//! The Forenoon server: scheduling and dispatch of grounds-maintenance crews over gRPC.
//!
//! Layers, each looking only downwards: [`edge`] speaks the contract, [`work`] holds the use cases,
//! the store below them knows the database. [`run`] puts them together as the program does;
//! [`serve()`] does so on a listener and a database that are given.

pub mod config;
pub mod edge;
mod keys;
mod run;
pub mod serve;
mod telemetry;
pub mod work;

pub use run::{StartError, run};
pub use serve::serve;
