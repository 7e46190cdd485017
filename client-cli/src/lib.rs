//! The command line of Forenoon as a library: the binary `forenoon` only hands its arguments over.
//!
//! Layers, each looking only downwards:
//! - `command`: what each command does, one file per subject;
//! - `import`: files of data into records of the contract, every fault with its place;
//! - `output`: answers as text for people, tab-separated lines for scripts, JSON for programs; pure functions;
//! - `desk`: the branch at hand with its clock, zone and currency;
//! - `connect`: the connection, every method of the contract, retries;
//! - `parse`, `names`, `failure`: words into values, and what went wrong.

pub mod connect;
pub mod failure;
pub mod import;
pub mod names;
pub mod parse;
