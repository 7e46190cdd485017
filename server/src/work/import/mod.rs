//! Brings a branch's records in as one: all of them, or none.
//!
//! Reading order: [`Import`] (what is asked), `Stored` (what is there already), the checks by kind
//! of record, what stays of the rows that are replaced, and the writing in batches. A record whose name is there already replaces it;
//! references may point at other records of the same import.

mod check;
mod command;
mod kept;
mod stored;
mod write;

pub use command::{Import, Outlook};
pub use kept::Removed;

use std::collections::HashSet;

use forenoon_store::entity::{crew, job, site, unit, worker};

use super::Violation;

/// A record with its place in the request.
#[derive(Clone, Debug, PartialEq)]
pub struct Numbered<R> {
    /// Counted from 0.
    pub index: usize,
    /// The record; its revision and times are set by the import.
    pub row: R,
}

/// Records by their kind.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Records {
    /// Units.
    pub units: Vec<Numbered<unit::Model>>,
    /// Crews.
    pub crews: Vec<Numbered<crew::Model>>,
    /// Workers.
    pub workers: Vec<Numbered<worker::Model>>,
    /// Sites.
    pub sites: Vec<Numbered<site::Model>>,
    /// Jobs.
    pub jobs: Vec<Numbered<job::Model>>,
}

/// Ids of records that could not be read: what refers to them is not told as a fault too.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Unread {
    /// Of units.
    pub units: HashSet<String>,
    /// Of crews.
    pub crews: HashSet<String>,
    /// Of sites.
    pub sites: HashSet<String>,
}

/// One fault of one record. The field's path begins with the kind, as `site.areas[0].surface`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// The record's place in the request.
    pub index: usize,
    /// What is wrong.
    pub violation: Violation,
}
