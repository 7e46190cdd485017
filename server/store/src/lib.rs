//! The store of Forenoon: entities, and the way to them on SQLite and PostgreSQL.
//!
//! Knows no gRPC and no rule of the trade. Time is passed in. Every write goes through
//! [`Database::write`], every error comes out as a [`StoreError`] that both databases share.

mod backup;
mod database;
pub mod entity;
mod error;
mod insert;
mod joined;
pub mod lease;
mod migrate;
mod notice;
mod open;
mod options;
pub mod record;
mod relay;
mod revisioned;
pub mod rows;
pub mod value;
mod write_ahead;

pub use backup::{Backup, BackupError, backup};
pub use database::{Database, WRITE_ATTEMPTS_MAX, Write};
pub use error::{Contended, GuardRule, StoreError, UniqueRule};
pub use insert::insert_all;
pub use joined::{Joined, Rows};
pub use migrate::{knows_schema, schema};
pub use notice::{Notice, Notices};
pub use open::OpenError;
pub use options::DatabaseOptions;
pub use revisioned::Revisioned;
pub use sea_orm;
