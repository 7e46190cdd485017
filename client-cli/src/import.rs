//! Files of data into records of the contract.
//!
//! A branch's data stands in tables, one CSV or JSON file each, joined by ids, as a spreadsheet keeps them. All
//! faults are found before anything is sent, each with its file, line and column; what the server then finds is
//! led back to the same places. The server stores all records or none.

mod csv_file;
pub mod fault;
mod gather;
mod json_file;
mod keep;
pub mod origin;
pub mod record;
pub mod row;
pub mod send;
mod source;
pub mod table;

pub use gather::{Gathered, gather};
pub use keep::{Stored, keep, stored};
pub use source::{Tables, read};

/// What a row needs to know about the branch it is for.
#[derive(Clone, Debug)]
pub struct Context {
    /// The branch's resource name.
    pub branch: String,
    /// ISO 4217 code of its currency.
    pub currency: String,
    /// Its time zone.
    pub zone: chrono_tz::Tz,
}
